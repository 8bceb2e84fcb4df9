package outbox

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"hopperbook/schemas"
)

// BenchmarkAppend stores one event a transaction and, in the same run, writes
// and syncs the same bytes to a plain file: what the disk allows at best.
func BenchmarkAppend(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	for name, e := range map[string]Entry{
		"load":      {At: start, Type: schemas.TypeLoadWeighed, Data: load(1)},
		"300 fixes": {At: start, Type: schemas.TypePassLogged, Data: pass(b, rng, start, 300)},
	} {
		b.Run(name, func(b *testing.B) {
			o := open(b, config(b))
			plain, err := os.Create(filepath.Join(b.TempDir(), "plain"))
			if err != nil {
				b.Fatal(err)
			}
			defer plain.Close()
			var ours, raw time.Duration
			for b.Loop() {
				began := time.Now()
				made, err := o.AppendAll([]Entry{e}, nil)
				ours += time.Since(began)
				if err != nil {
					b.Fatal(err)
				}
				began = time.Now()
				_, err = plain.Write(made[0].Raw)
				if err == nil {
					err = plain.Sync()
				}
				raw += time.Since(began)
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)/ours.Seconds(), "appends/s")
			b.ReportMetric(float64(b.N)/raw.Seconds(), "fsyncs/s")
			b.ReportMetric(ours.Seconds()/raw.Seconds(), "x-one-fsync")
		})
	}
}

// BenchmarkFortnight fills an outbox with 14 days of fixes at 5 Hz around the
// clock (run it with -benchtime 1x) and says what they take; then it trims all
// of it, as a book that was reached at last does.
func BenchmarkFortnight(b *testing.B) {
	const fixes = 14 * 24 * 3600 * 5
	for _, each := range []int{60, 300} {
		b.Run(fmt.Sprint(each, " fixes a log"), func(b *testing.B) {
			for b.Loop() {
				o := open(b, config(b))
				rng := rand.New(rand.NewPCG(1, 14))
				var logs []Entry // different enough that no two are packed together anyway
				raw := 0
				for range 50 {
					data := pass(b, rng, start, each)
					text, err := json.Marshal(data)
					if err != nil {
						b.Fatal(err)
					}
					raw += len(text)
					logs = append(logs, Entry{At: start, Type: schemas.TypePassLogged, Data: data})
				}
				n := fixes / each / len(logs)
				for range n {
					if _, err := o.AppendAll(logs, nil); err != nil {
						b.Fatal(err)
					}
				}
				s, err := o.Status()
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(s.UsedBytes)/1e6, "MB")
				b.ReportMetric(float64(s.Bytes)/1e6, "MB-file")
				b.ReportMetric(float64(n*raw)/1e6, "MB-unpacked")
				b.ReportMetric(float64(s.UsedBytes)/float64(n*len(logs)*each), "B/fix")
				began := time.Now()
				o = reopened(b, o)
				b.ReportMetric(time.Since(began).Seconds(), "s-to-open")
				began = time.Now()
				if err := o.Trim(schemas.Mark{Source: o.Source(), UpTo: int64(n * len(logs))}); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(time.Since(began).Seconds(), "s-to-trim")
			}
		})
	}
}

func reopened(t testing.TB, o *Outbox) *Outbox {
	t.Helper()
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	return open(t, o.cfg)
}
