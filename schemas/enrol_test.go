package schemas

import (
	"bytes"
	"strings"
	"testing"

	"hopperbook/schemas/fault"
)

func testCode() EnrolCode {
	return EnrolCode{Hub: "192.168.7.20:4222", Contractor: "tussock", Device: "spreader-3",
		Secret: EnrolSecret([]byte("0123456789")), Fingerprint: CAFingerprint([]byte("a certificate"))}
}

func TestEnrolCodeIsReadAsItIsTyped(t *testing.T) {
	c := testCode()
	line := c.String()
	if !strings.HasPrefix(line, "HB1/192.168.7.20:4222/TUSSOCK/SPREADER-3/60RK-4CSM-6MV3-EE1S/") {
		t.Errorf("line %s", line)
	}
	plain := c
	plain.Hub, plain.Fingerprint = "[::1]:4222", ""
	for _, r := range []struct {
		typed string
		want  EnrolCode
	}{
		{line, c},
		{strings.ToLower(line), c},
		{" " + strings.ReplaceAll(line, "/", " / ") + "\n", c},
		{strings.Replace(line, "60RK-4CSM", "6orK4CsM", 1), c},
		{strings.Replace(line, "EE1S", "EELS", 1), c},
		{plain.String(), plain},
	} {
		if got, err := ParseEnrolCode(r.typed); err != nil || got != r.want {
			t.Errorf("%q: %+v, %v", r.typed, got, err)
		}
	}
}

// Every single wrong character is seen before it is sent.
func TestEnrolCodeSeesASlipOfTheFinger(t *testing.T) {
	line := testCode().String()
	for i := range line {
		if line[i] == '-' {
			continue // inside secret and fingerprint a hyphen does not count
		}
		with := byte('7')
		if line[i] == '7' {
			with = '8'
		}
		typed := line[:i] + string(with) + line[i+1:]
		if _, err := ParseEnrolCode(typed); fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" {
			t.Errorf("%q is taken: %v", typed, err)
		}
	}
	for _, typed := range []string{"", "HB1", line[:len(line)-5], line + "/", strings.Replace(line, "HB1", "HB2", 1)} {
		if _, err := ParseEnrolCode(typed); err == nil {
			t.Errorf("%q is taken", typed)
		}
	}
	noPort := testCode()
	noPort.Hub = "office"
	short := testCode()
	short.Secret = short.Secret[:8]
	for _, c := range []EnrolCode{noPort, short} {
		if _, err := ParseEnrolCode(c.String()); err == nil {
			t.Errorf("%s is taken", c)
		}
	}
}

func FuzzParseEnrolCode(f *testing.F) {
	f.Add(testCode().String())
	f.Add("HB1/[::1]:4222/A/B/60RK-4CSM-6MV3-EE1S/PLAIN/0000")
	f.Fuzz(func(t *testing.T, line string) {
		c, err := ParseEnrolCode(line)
		if err != nil {
			return
		}
		again, err := ParseEnrolCode(c.String())
		if err != nil || again != c {
			t.Errorf("%q reads as %+v, which writes as %q", line, c, c.String())
		}
	})
}

func TestInboxesAreApart(t *testing.T) {
	a, b := DeviceInbox("tussock", "sp-1"), DeviceInbox("tussock", "sp-10")
	if a == b || strings.HasPrefix(b+".", a+".") || strings.HasPrefix(EnrolInbox+".", a) {
		t.Errorf("%s, %s", a, b)
	}
	if bytes.ContainsAny([]byte(a+EnrolInbox), "*> ") {
		t.Error("an inbox prefix with a wildcard")
	}
}
