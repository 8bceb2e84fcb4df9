package hub

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"hopperbook/ingest/link"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func refusedWith(t *testing.T, err error, words string) {
	t.Helper()
	if fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), words) || fault.HintOf(err) == "" {
		t.Errorf("want a refusal with %q, got %v (hint %q)", words, err, fault.HintOf(err))
	}
}

// A code is good once, for a day, for one device.
func TestACodeIsGoodOnce(t *testing.T) {
	g := guard(t, t.TempDir())
	ctx := context.Background()
	code, mine := g.code("sp-1"), t.TempDir()
	if _, err := link.Enrol(ctx, code, mine); err != nil {
		t.Fatal(err)
	}
	_, err := link.Enrol(ctx, code, t.TempDir())
	refusedWith(t, err, "used before")
	g.logged("refused: the code was used before, device sp-1")

	late := g.code("sp-2")
	g.later(DefaultCodeLife)
	_, err = link.Enrol(ctx, late, t.TempDir())
	refusedWith(t, err, "expired")

	first, second := g.code("sp-3"), g.code("sp-3") // the second replaces the first
	_, err = link.Enrol(ctx, first, t.TempDir())
	refusedWith(t, err, "wrong")
	if _, err := link.Enrol(ctx, second, t.TempDir()); err != nil {
		t.Error(err)
	}

	voided := g.code("sp-4")
	if _, err := g.registry.Revoke("sp-4"); err != nil {
		t.Fatal(err)
	}
	_, err = link.Enrol(ctx, voided, t.TempDir())
	refusedWith(t, err, "wrong")

	parsed, err := schemas.ParseEnrolCode(g.code("sp-5"))
	if err != nil {
		t.Fatal(err)
	}
	parsed.Device = "sp-1" // another device's code
	_, err = link.Enrol(ctx, parsed.String(), t.TempDir())
	refusedWith(t, err, "wrong")
	for why, d := range map[Reason]schemas.DeviceID{CodeUsed: "sp-1", CodeExpired: "sp-2", WrongCode: "sp-3"} {
		if g.refusals(why, d) != 1 {
			t.Errorf("the list has %d times %s of %s", g.refusals(why, d), why, d)
		}
	}
	if codes := g.registry.Codes(); len(codes) != 2 { // of sp-2 (expired) and sp-5
		t.Errorf("codes %+v", codes)
	}
}

// The answer may be lost on the way: the same tablet may ask again, and gets
// the key it has.
func TestALostAnswerIsAskedForAgain(t *testing.T) {
	g := guard(t, t.TempDir())
	code, err := schemas.ParseEnrolCode(g.code("sp-1"))
	if err != nil {
		t.Fatal(err)
	}
	pair, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	seed, _ := pair.Seed()
	public, _ := pair.PublicKey()
	dir := t.TempDir()
	raw, err := json.Marshal(map[string]string{"code": code.String(), "seed": string(seed)})
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "enrolling.json"), raw, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	request := schemas.EnrolRequest{Device: "sp-1", Code: code.Secret, PublicKey: public}
	if a := g.registry.enrol(request); a.Refused != "" { // the tablet never hears this
		t.Fatal(a.Refused)
	}
	c, err := link.Enrol(context.Background(), code.String(), dir)
	if err != nil || c.Seed != string(seed) {
		t.Fatalf("%v", err)
	}
	connected(t, c)
	if _, err := g.registry.Revoke("sp-1"); err != nil {
		t.Fatal(err)
	}
	if a := g.registry.enrol(request); a.Refused != CodeUsed.words() {
		t.Errorf("a revoked tablet comes back with its old code: %+v", a)
	}
	again, err := schemas.ParseEnrolCode(g.code("sp-1"))
	if err != nil {
		t.Fatal(err)
	}
	request.Code = again.Secret
	if a := g.registry.enrol(request); a.Refused != BadKey.words() {
		t.Errorf("a revoked key comes back: %+v", a)
	}
}

// Guessing is stopped, per device, for a minute.
func TestGuessingIsSlowedDown(t *testing.T) {
	g := guard(t, t.TempDir())
	right, err := schemas.ParseEnrolCode(g.code("sp-1"))
	if err != nil {
		t.Fatal(err)
	}
	pair, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	public, _ := pair.PublicKey()
	try := func(d schemas.DeviceID, secret string) string {
		return g.registry.enrol(schemas.EnrolRequest{Device: d, Code: secret, PublicKey: public}).Refused
	}
	for range wrongAMinute {
		if got := try("sp-1", schemas.EnrolSecret(make([]byte, schemas.EnrolSecretBytes))); got != WrongCode.words() {
			t.Fatalf("refused: %q", got)
		}
	}
	if got := try("sp-1", right.Secret); got != TooManyTries.words() {
		t.Errorf("after %d wrong ones: %q", wrongAMinute, got)
	}
	other, err := schemas.ParseEnrolCode(g.code("sp-2"))
	if err != nil {
		t.Fatal(err)
	}
	g.later(time.Minute)
	if got := try("sp-1", right.Secret); got != "" {
		t.Errorf("a minute later: %q", got)
	}
	for range 2 * wrongAMinute { // of devices that nobody knows
		try("guess", "")
	}
	if got := try("sp-2", other.Secret); got != BadKey.words() { // its own turn; the key is sp-1's
		t.Errorf("another device: %q", got)
	}
}

// A tablet that scans a code takes no other hub for the one that made it, and
// shows it nothing.
func TestAnotherHubIsNotTaken(t *testing.T) {
	right, wrong := guard(t, t.TempDir()), guard(t, t.TempDir())
	code, err := schemas.ParseEnrolCode(right.code("sp-1"))
	if err != nil {
		t.Fatal(err)
	}
	code.Hub = strings.TrimPrefix(wrong.URL(), "tls://")
	_, err = link.Enrol(context.Background(), code.String(), t.TempDir())
	refusedWith(t, err, "not the hub that made the code")
	if n := len(wrong.registry.Refused()); n != 0 {
		t.Errorf("the other hub was shown something: %+v", wrong.registry.Refused())
	}
	code, _ = schemas.ParseEnrolCode(right.code("sp-1"))
	code.Fingerprint = schemas.CAFingerprint([]byte("another"))
	_, err = link.Enrol(context.Background(), code.String(), t.TempDir())
	refusedWith(t, err, "not the hub that made the code")

	code.Fingerprint, code.Hub = "", "192.0.2.1:4222"
	if _, err = link.Enrol(context.Background(), code.String(), t.TempDir()); fault.CodeOf(err) != fault.Input {
		t.Errorf("a hub on the network without a fingerprint: %v", err)
	}

	// After the enrolment, the pinned CA is asked for at every connection.
	c := right.enrol("sp-1")
	c.Hub = strings.TrimPrefix(wrong.URL(), "tls://")
	w := dial(t, c)
	if err := await(t, w.down, "a failed try"); err == nil || w.Conn.IsConnected() {
		t.Errorf("connected to another hub (%v)", err)
	}
	if n := len(wrong.registry.Refused()); n != 0 {
		t.Errorf("the other hub was shown something: %+v", wrong.registry.Refused())
	}
}

// What lets somebody in is its owner's alone, and outlives the hub.
func TestWhatIsKept(t *testing.T) {
	dir, mine := t.TempDir(), t.TempDir()
	g := guard(t, dir)
	code := g.code("sp-1")
	c, err := link.Enrol(context.Background(), code, mine)
	if err != nil {
		t.Fatal(err)
	}
	parsed, _ := schemas.ParseEnrolCode(code)
	if runtime.GOOS != "windows" {
		for _, name := range []string{filepath.Join(dir, officeKeyFile), filepath.Join(dir, caKeyFile), filepath.Join(dir, caFile), filepath.Join(dir, devicesFile), filepath.Join(mine, "credentials.json")} {
			info, err := os.Stat(name)
			if err != nil || info.Mode().Perm() != 0o600 {
				t.Errorf("%s: %v, %v", name, info, err)
			}
		}
	}
	raw, err := os.ReadFile(filepath.Join(dir, devicesFile))
	if err != nil || strings.Contains(string(raw), parsed.Secret) || strings.Contains(string(raw), c.Seed) {
		t.Errorf("the folder keeps a secret of the tablet: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(mine, "*")); len(left) != 1 {
		t.Errorf("the tablet keeps %v", left)
	}
	seen, ok, err := link.ReadCredentials(mine)
	if err != nil || !ok || seen != c {
		t.Errorf("%+v, %v, %v", seen, ok, err)
	}
	g.Hub.Close()
	again, err := Start(Config{Dir: dir, Listen: strings.TrimPrefix(g.URL(), "tls://"), Contractor: "tussock", TLS: true})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	connected(t, c)
}

func TestNewCodeSaysWhatIsWrong(t *testing.T) {
	h, err := Start(Config{Dir: t.TempDir(), Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	for _, r := range []struct {
		device  schemas.DeviceID
		life    time.Duration
		address string
	}{{"sp-1", 0, ""}, {"Two Words", 0, "a:1"}, {"sp-1", time.Second, "a:1"}, {"sp-1", 1000 * time.Hour, "a:1"}, {"sp-1", 0, "a"}, {"sp-1", 0, "a/b:1"}} {
		if _, err := h.NewCode(r.device, r.life, r.address); fault.CodeOf(err) != fault.Usage || fault.HintOf(err) == "" {
			t.Errorf("%+v: %v", r, err)
		}
	}
	// Made on loopback, for a hub on the network: with a fingerprint.
	given, err := h.NewCode("sp-1", 0, "Office.lan:4222")
	if err != nil || !given.TLS || !strings.Contains(given.Code, "/OFFICE.LAN:4222/OWN/SP-1/") {
		t.Errorf("%+v, %v", given, err)
	}
	given, err = h.NewCode("sp-1", 0, "127.0.0.1:4222")
	if err != nil || given.TLS || !strings.Contains(given.Code, "/PLAIN/") {
		t.Errorf("%+v, %v", given, err)
	}
}

// On loopback without TLS a tablet enrols and connects all the same.
func TestEnrolOnLoopback(t *testing.T) {
	h, err := Start(Config{Dir: t.TempDir(), Listen: "127.0.0.1:0", Contractor: "tussock"})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	if err := h.Remember(); err != nil {
		t.Fatal(err)
	}
	given, err := h.NewCode("sp-1", 0, "")
	if err != nil {
		t.Fatal(err)
	}
	c, err := link.Enrol(context.Background(), given.Code, t.TempDir())
	if err != nil || c.CAPEM != "" {
		t.Fatalf("%v", err)
	}
	connected(t, c)
}

// Whoever enrols can hand in a code and hear, and nothing else; and the hub
// answers nowhere else.
func TestWhoEnrolsCanDoNothingElse(t *testing.T) {
	h, err := Start(Config{Dir: t.TempDir(), Listen: "127.0.0.1:0", Contractor: "tussock"})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	conn, err := nats.Connect(h.URL(), nats.UserInfo(schemas.EnrolUser, schemas.EnrolUser), nats.CustomInboxPrefix(schemas.EnrolInbox),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})) // LastError has it
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	w := &tablet{Conn: conn}
	for _, subject := range []string{"book.tussock.sp-1.load.weighed", "cab.tussock.sp-1", "enrol.other", "ask.tussock.export", schemas.EnrolInbox + ".x"} {
		if err := conn.Publish(subject, nil); err != nil {
			t.Fatal(err)
		}
		if !w.denied(t, "Publish", subject) {
			t.Errorf("may publish %s", subject)
		}
	}
	for _, subject := range []string{">", "enrol.tussock", "marks.>", "book.>", schemas.DeviceInbox("tussock", "sp-1") + ".>"} {
		if _, err := conn.SubscribeSync(subject); err != nil {
			t.Fatal(err)
		}
		if !w.denied(t, "Subscription", subject) {
			t.Errorf("may read %s", subject)
		}
	}
	heard := make(chan struct{}, 1)
	if _, err := h.conn.Subscribe("marks.tussock.sp-1", func(*nats.Msg) { heard <- struct{}{} }); err != nil {
		t.Fatal(err)
	}
	if err := conn.PublishRequest("enrol.tussock", "marks.tussock.sp-1", []byte("{}")); err != nil {
		t.Fatal(err)
	}
	for _, body := range []string{"", "{}", "nonsense", strings.Repeat("x", enrolBytes+1)} {
		reply, err := conn.Request("enrol.tussock", []byte(body), 10*time.Second)
		var a schemas.EnrolAnswer
		if err != nil || json.Unmarshal(reply.Data, &a) != nil || a.Refused == "" || a.Hint == "" {
			t.Errorf("%.20q: %v, %+v", body, err, a)
		}
	}
	select {
	case <-heard:
		t.Error("the hub was made to speak on another's subject")
	default:
	}
}
