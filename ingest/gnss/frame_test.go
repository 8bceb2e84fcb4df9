package gnss

import (
	"bufio"
	"fmt"
	"strings"
	"testing"
)

// sentence adds '$', checksum and line end to a body.
func sentence(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

type framed struct {
	text string
	flaw flaw
}

func frames(stream string) (all []framed, skipped int64) {
	var f framer
	scan := bufio.NewScanner(strings.NewReader(stream))
	scan.Split(f.split)
	for scan.Scan() {
		all = append(all, framed{scan.Text(), f.flaw})
	}
	return all, f.skippedBytes
}

func TestSentencesAreFoundInAStream(t *testing.T) {
	// Examples of gpsd 3.22, www/NMEA.adoc, with their published checksums.
	const (
		gga = "$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M,,*47"
		rmc = "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B"
		vtg = "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34"
		zda = "$GPZDA,160012.71,11,03,2004,-1,00*7D"
	)
	long := sentence("GPTXT," + strings.Repeat("x", 600))
	endless := "$GPTXT," + strings.Repeat("x", 2000)
	cases := []struct {
		name, stream string
		want         []framed
		skipped      int64
	}{
		{"published examples", gga + "\r\n" + rmc + "\n" + vtg + zda, []framed{{gga, sound}, {rmc, sound}, {vtg, sound}, {zda, sound}}, 3},
		{"nothing", "", nil, 0},
		{"no sentence", "# a comment, $5 in it\r\n", nil, 23},
		{"garbage before", "\x00\xffx$" + zda, []framed{{zda, sound}}, 4},
		{"binary between", gga + "\xb5b\x01\x07$\x00\x0a" + zda, []framed{{gga, sound}, {zda, sound}}, 7},
		{"lower case checksum", strings.Replace(zda, "7D", "7d", 1), []framed{{strings.Replace(zda, "7D", "7d", 1), sound}}, 0},
		{"wrong checksum", strings.Replace(zda, "7D", "7C", 1) + "\r\n", []framed{{strings.Replace(zda, "7D", "7C", 1), badChecksum}}, 2},
		{"one bit flipped", strings.Replace(gga, "4404", "4504", 1), []framed{{strings.Replace(gga, "4404", "4504", 1), badChecksum}}, 0},
		{"no checksum", "$GPZDA,160012.71\r\n" + zda, []framed{{"$GPZDA,160012.71", noChecksum}, {zda, sound}}, 2},
		{"half a checksum", "$GPZDA,160012.71*7\r\n" + zda, []framed{{"$GPZDA,160012.71*7", noChecksum}, {zda, sound}}, 2},
		{"cut by the next", "$GPGGA,0001$GPGGA,00*" + zda, []framed{{"$GPGGA,0001", noChecksum}, {"$GPGGA,00*", noChecksum}, {zda, sound}}, 0},
		{"cut by the end", zda + "$GPGGA,0001", []framed{{zda, sound}, {"$GPGGA,0001", noChecksum}}, 0},
		{"a star ends the stream", "$GPGGA,0001*", []framed{{"$GPGGA,0001*", noChecksum}}, 0},
		{"not an address", "$GPgga,1*00\r\n$GP,1*00$ABCDEFGHIJK,1*00", nil, 38},
		{"longer than the standard", long, []framed{{strings.TrimSpace(long), sound}}, 2},
		{"without end", endless + "\r\n" + zda, []framed{{endless[:1024], tooLong}, {zda, sound}}, 2000 + 7 - 1024 + 2},
	}
	for _, c := range cases {
		got, skipped := frames(c.stream)
		if fmt.Sprint(got) != fmt.Sprint(c.want) || skipped != c.skipped {
			t.Errorf("%s: %v skipped %d, want %v skipped %d", c.name, got, skipped, c.want, c.skipped)
		}
	}
}
