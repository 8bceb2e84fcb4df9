package schemas

import (
	"reflect"
	"testing"
)

// A mark reads back as it was written; anything else is refused.
func TestParseMark(t *testing.T) {
	for text, want := range map[string]Mark{
		"/m1/tablet#12":        {Source: "/m1/tablet", UpTo: 12},
		"/a#b/c#0,2-2,5-9":     {Source: "/a#b/c", Above: [][2]int64{{2, 2}, {5, 9}}},
		"/office/billing#7":    {Source: "/office/billing", UpTo: 7},
		"/m1/tablet#3,10-1000": {Source: "/m1/tablet", UpTo: 3, Above: [][2]int64{{10, 1000}}},
	} {
		got, err := ParseMark(text)
		if err != nil || !reflect.DeepEqual(got, want) || got.String() != text {
			t.Errorf("%s: %+v, %v", text, got, err)
		}
	}
	for _, bad := range []string{"", "#1", "/m1", "/m1#", "/m1#-1", "/m1#01", "/m1#1,", "/m1#5,3-4", "/m1#5,9-8", "/m1#5,7", "/m1#5,7-9,8-10", "/m1#9999999999999999999", "/m1#1 "} {
		if m, err := ParseMark(bad); err == nil {
			t.Errorf("%q was read as %+v", bad, m)
		}
	}
}

func FuzzParseMark(f *testing.F) {
	f.Add("/m1/tablet#3,10-1000")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := ParseMark(text)
		if err != nil {
			return
		}
		if m.String() != text {
			t.Errorf("%q reads as %q", text, m)
		}
		if m.UpTo > 0 && !m.Holds(m.UpTo) {
			t.Errorf("%q does not hold its own end", text)
		}
	})
}
