package page

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"mime"
	"net"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"hopperbook/ingest/tablet"
)

//go:embed static
var static embed.FS

// Options are what the page can be told; the zero value is right on a tablet.
type Options struct {
	// Hosts are names the page may be asked by besides localhost, 127.0.0.1 and
	// ::1; others are refused, so that no name of the internet can be pointed
	// at the tablet (DNS rebinding).
	Hosts []string
	// Coalesce is the least time between two news; 0: 250 ms.
	Coalesce time.Duration
	// Heartbeat is how often a silent stream of news shows that it lives; 0: 15 s.
	Heartbeat time.Duration
}

const (
	coalesce  = 250 * time.Millisecond
	heartbeat = 15 * time.Second
)

type page struct {
	agent tablet.Agent
	o     Options
	once  *once
}

// Handler serves the page at /, what is to be seen at GET /view, news of a
// change as server-sent events at GET /news, and takes commands at
// POST /do/{command}. It is safe for concurrent use. Streams of news end with
// their request's context.
func Handler(agent tablet.Agent, o Options) http.Handler {
	if o.Coalesce <= 0 {
		o.Coalesce = coalesce
	}
	if o.Heartbeat <= 0 {
		o.Heartbeat = heartbeat
	}
	o.Hosts = append(slices.Clone(o.Hosts), "localhost", "127.0.0.1", "::1")
	p := &page{agent: agent, o: o, once: newOnce(remembered)}
	mux := http.NewServeMux()
	for name, f := range files() {
		mux.HandleFunc("GET "+name, f.serve)
	}
	setup := asset(append(marshal(units()), '\n'), "application/json")
	mux.HandleFunc("GET /units.json", setup.serve)
	mux.HandleFunc("GET /view", p.view)
	mux.HandleFunc("GET /news", p.news)
	mux.HandleFunc("POST /do/{command}", p.do)
	return p.guard(mux)
}

// policy lets the page load from its own origin and nothing else.
const policy = "default-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; object-src 'none'"

func (p *page) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", policy)
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		head.Set("Cross-Origin-Opener-Policy", "same-origin")
		if !slices.Contains(p.o.Hosts, hostOf(r.Host)) {
			http.Error(w, "this page is not served under that name", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// hostOf is a Host header without its port and brackets, in lower case.
func hostOf(header string) string {
	if host, _, err := net.SplitHostPort(header); err == nil {
		header = host
	}
	return strings.ToLower(strings.Trim(header, "[]"))
}

func (p *page) view(w http.ResponseWriter, r *http.Request) {
	asset(marshal(p.agent.View()), "application/json").serve(w, r)
}

type file struct {
	body []byte
	kind string
	etag string // strong: of the bytes
}

func asset(body []byte, kind string) file {
	sum := sha256.Sum256(body)
	return file{body, kind, `"` + hex.EncodeToString(sum[:16]) + `"`}
}

func (f file) serve(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", f.kind)
	w.Header().Set("ETag", f.etag)
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(f.body))
}

// files are the embedded ones by the path they are asked by.
func files() map[string]file {
	found := map[string]file{}
	err := fs.WalkDir(static, "static", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := static.ReadFile(name)
		if err != nil {
			return err
		}
		f := asset(body, kindOf(name))
		found[strings.TrimPrefix(name, "static")] = f
		if name == "static/index.html" {
			found["/{$}"] = f
		}
		return nil
	})
	if err != nil {
		panic(err) // what is embedded can be read
	}
	return found
}

// kindOf is a fixed table: the tablet's own table of types may be anything.
func kindOf(name string) string {
	switch path.Ext(name) {
	case ".html":
		return "text/html; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".json":
		return "application/json"
	case ".svg":
		return "image/svg+xml"
	}
	return "application/octet-stream"
}

func marshal(v any) []byte {
	body, err := json.Marshal(v)
	if err != nil {
		panic(err) // View is plain data; NaN in it is a fault of the agent
	}
	return body
}

// jsonBody reports whether a request says that its body is JSON.
func jsonBody(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "application/json"
}
