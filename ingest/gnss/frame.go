package gnss

import "bytes"

// maxSentenceBytes bounds a sentence and with it the memory of a stream. The
// standard says 82; receivers with centimetre positions send more.
const maxSentenceBytes = 1024

// flaw is why a framed sentence cannot be used.
type flaw uint8

const (
	sound flaw = iota
	noChecksum
	badChecksum
	tooLong
)

// framer cuts sentences out of a byte stream; split is its bufio.SplitFunc.
type framer struct {
	skippedBytes int64
	flaw         flaw // of the sentence last returned
}

// split finds the next "$...*hh". Everything between sentences is skipped:
// line ends, comments, other protocols. A sentence ends with its checksum, so
// that one at the end of a burst is not held until the next burst.
func (f *framer) split(data []byte, atEOF bool) (int, []byte, error) {
	pos := 0
	for {
		i := bytes.IndexByte(data[pos:], '$')
		if i < 0 {
			f.skippedBytes += int64(len(data) - pos)
			return len(data), nil, nil
		}
		f.skippedBytes += int64(i)
		pos += i
		length, why, complete := extent(data[pos:])
		if !complete && !atEOF {
			return pos, nil, nil
		}
		if candidate := data[pos : pos+length]; addressed(candidate) {
			f.flaw = why
			return pos + length, candidate, nil
		}
		f.skippedBytes += int64(length)
		pos += length
	}
}

// extent measures the sentence at the start of data (which is '$'). It is not
// complete when more bytes could still change the answer.
func extent(data []byte) (length int, why flaw, complete bool) {
	var sum byte
	for i := 1; i < len(data); i++ {
		c := data[i]
		switch {
		case i >= maxSentenceBytes:
			return i, tooLong, true
		case c == '*':
			return checked(data, i, sum)
		case c == '$' || c < ' ' || c > '~':
			return i, noChecksum, true
		}
		sum ^= c
	}
	return len(data), noChecksum, false
}

// checked compares the two hex digits after the '*' at star with sum.
func checked(data []byte, star int, sum byte) (length int, why flaw, complete bool) {
	var want byte
	for i := star + 1; i <= star+2; i++ {
		if i >= len(data) {
			return len(data), noChecksum, false
		}
		digit, ok := hex(data[i])
		if !ok {
			return i, noChecksum, true
		}
		want = want<<4 | digit
	}
	if want != sum {
		return star + 3, badChecksum, true
	}
	return star + 3, sound, true
}

func hex(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}

// addressed reports whether b starts like a sentence, '$' and an address of 3
// to 10 capitals and digits, so that a '$' in binary data is no finding.
func addressed(b []byte) bool {
	for i := 1; i < len(b) && i <= 11; i++ {
		switch c := b[i]; {
		case c == ',' || c == '*':
			return i > 3
		case (c < 'A' || c > 'Z') && (c < '0' || c > '9'):
			return false
		}
	}
	return false
}
