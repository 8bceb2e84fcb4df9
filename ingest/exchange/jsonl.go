package exchange

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"strconv"
	"strings"
	"time"

	"github.com/oklog/ulid/v2"
	"github.com/tidwall/gjson"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// maxLine bounds memory; the bus takes no larger message either.
const maxLine = 32 << 20

// Events reads events one a line. A line that brings source and sequence
// keeps its bytes; one that brings neither is numbered: source
// /files/<sha-256 of the file>, sequence 1, 2, ... over such lines, and its
// specversion, id and dataschema are filled in when they are missing. Empty
// lines are skipped.
func Events(file io.ReadSeeker) iter.Seq2[ingest.Outgoing, error] {
	return func(yield func(ingest.Outgoing, error) bool) {
		source, err := FileSource(file)
		if err != nil {
			yield(ingest.Outgoing{}, err)
			return
		}
		numbered := int64(0)
		lines := bufio.NewReaderSize(file, 1<<20)
		for no := 1; ; no++ {
			line, err := readLine(lines, no)
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				yield(ingest.Outgoing{}, err)
				return
			}
			if no == 1 {
				line = bytes.TrimPrefix(line, []byte("\uFEFF")) // some editors put a byte order mark there
			}
			if len(bytes.TrimSpace(line)) == 0 {
				continue
			}
			out := outgoing(line, schemas.Identity{Source: source, Sequence: numbered + 1})
			if out.Source == source {
				numbered++
			}
			if !yield(out, nil) {
				return
			}
		}
	}
}

// FileSource is the source of the events that a file's bare lines become; the
// file is left at its beginning.
func FileSource(file io.ReadSeeker) (schemas.Source, error) {
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		return "", fault.New("read the events", fault.Input, err, "is it a readable file?")
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return "", fault.New("read the events", fault.Input, err, "give a file, or - for standard input")
	}
	return schemas.Source("/files/" + hex.EncodeToString(sum.Sum(nil))), nil
}

// readLine returns one line without its end. The last line may lack one.
func readLine(r *bufio.Reader, no int) ([]byte, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > maxLine {
			return nil, fault.Newf(fmt.Sprintf("read line %d", no), fault.Input, fmt.Sprintf("it is longer than %d bytes", maxLine), "is it a file of one event a line? split a long pass log")
		}
		switch {
		case err == nil, errors.Is(err, io.EOF) && len(line) > 0:
			return bytes.TrimRight(line, "\r\n"), nil
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF):
			return nil, err
		default:
			return nil, fault.New(fmt.Sprintf("read line %d", no), fault.Input, err, "")
		}
	}
}

// outgoing gives a line its identity: its own, or else the one of the file.
func outgoing(line []byte, fileIdentity schemas.Identity) ingest.Outgoing {
	event, _ := schemas.Read(line)
	if event.Source != "" && event.Sequence > 0 {
		return ingest.Outgoing{Identity: event.Identity, Type: event.Type, Raw: line}
	}
	out := ingest.Outgoing{Identity: fileIdentity, Type: event.Type, Raw: line}
	v := gjson.ParseBytes(line)
	if gjson.ValidBytes(line) && v.IsObject() && !v.Get("source").Exists() && !v.Get("sequence").Exists() {
		out.Raw = fillEnvelope(line, v, fileIdentity)
		out.Type = schemas.EventType(v.Get("type").Str)
	}
	return out
}

// fillEnvelope puts the attributes an event lacks in front of those it has.
func fillEnvelope(line []byte, v gjson.Result, id schemas.Identity) []byte {
	var b strings.Builder
	b.WriteByte('{')
	add := func(name, value string) {
		if !v.Get(name).Exists() {
			quoted, err := json.Marshal(value)
			if err == nil { // a string always marshals
				fmt.Fprintf(&b, "%q:%s,", name, quoted)
			}
		}
	}
	add("specversion", "1.0")
	add("id", fileULID(v, id))
	add("source", string(id.Source))
	add("sequence", strconv.FormatInt(id.Sequence, 10))
	name := v.Get("type").Str
	if info, ok := schemas.Lookup(schemas.EventType(name)); ok {
		add("dataschema", info.DataSchema())
	} else if name != "" {
		add("dataschema", name+"/1") // refused for its type, which says more than a missing attribute
	}
	rest := bytes.TrimSpace(bytes.TrimSpace(line)[1:])
	head := b.String()
	if rest[0] == '}' {
		head = strings.TrimSuffix(head, ",")
	}
	return append([]byte(head), rest...)
}

// fileULID is made of the event's time and its identity, so that the same
// file gives the same id again.
func fileULID(v gjson.Result, id schemas.Identity) string {
	at, err := time.Parse(time.RFC3339Nano, v.Get("time").Str)
	if err != nil || at.Before(time.UnixMilli(0)) {
		at = time.UnixMilli(0)
	}
	entropy := sha256.Sum256([]byte(id.String()))
	made, err := ulid.New(ulid.Timestamp(at), bytes.NewReader(entropy[:]))
	if err != nil {
		return "" // refused by the contract, with the line kept whole
	}
	return made.String()
}
