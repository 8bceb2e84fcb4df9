package gnss

import (
	"bufio"
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// BenchmarkDecoder reads a receiver log many times over; the peer beside it
// only finds its lines. x-lines is how many times as long decoding takes.
func BenchmarkDecoder(b *testing.B) {
	log, err := os.ReadFile(filepath.Join(kept, "nmea-rtk.log"))
	if err != nil {
		b.Fatal(err)
	}
	stream := bytes.Repeat(log, 40)
	b.SetBytes(int64(len(stream)))
	b.ReportAllocs()
	var decoding, scanning time.Duration
	var sentences int64
	for b.Loop() {
		start := time.Now()
		d := NewDecoder(bytes.NewReader(stream), Options{})
		for err = nil; err != io.EOF; _, err = d.Next() {
		}
		decoding += time.Since(start)
		sentences += d.Report().Sentences

		start = time.Now()
		for scan := bufio.NewScanner(bytes.NewReader(stream)); scan.Scan(); {
		}
		scanning += time.Since(start)
	}
	b.ReportMetric(float64(sentences)/decoding.Seconds(), "sentences/s")
	b.ReportMetric(float64(decoding)/float64(scanning), "x-lines")
}
