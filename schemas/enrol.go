package schemas

import (
	"crypto/sha256"
	"encoding/base32"
	"net"
	"strings"

	"hopperbook/schemas/fault"
)

// EnrolCode is what a tablet needs to introduce itself to a hub, once: as one
// line that can be typed or scanned,
//
//	HB1/HOST:PORT/CONTRACTOR/DEVICE/SECRET/FINGERPRINT/CHECK
//
// Letter case, blanks, and hyphens inside secret, fingerprint and check do not
// count; the digits 0 and 1 may be typed as the letters O, I and L.
type EnrolCode struct {
	Hub        string // host:port
	Contractor ContractorID
	Device     DeviceID
	Secret     string // EnrolSecretBytes in Crockford's base 32; good for one use
	// Fingerprint is CAFingerprint of the hub's CA; "" where the hub is on
	// this machine's loopback and speaks without TLS.
	Fingerprint string
}

const (
	enrolMagic = "HB1"
	enrolPlain = "PLAIN" // stands for no fingerprint
	// EnrolSecretBytes of chance are out of reach of guessing within the day
	// that a code lives, whatever the rate.
	EnrolSecretBytes = 10
	// fingerprintBytes of the SHA-256 are kept: nobody finds a second CA with
	// the same 160 bits, and 32 characters can still be typed.
	fingerprintBytes = 20
	checkChars       = 4
)

// crockford is base 32 without I, L, O and U, so that a line read aloud or
// typed with gloves has one reading.
func crockford() *base32.Encoding {
	return base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)
}

// EnrolSecret writes the bytes of a secret as they stand in a code.
func EnrolSecret(raw []byte) string { return crockford().EncodeToString(raw) }

// CAFingerprint is the first 160 bits of the SHA-256 of a CA certificate (DER),
// as they stand in a code.
func CAFingerprint(der []byte) string {
	sum := sha256.Sum256(der)
	return crockford().EncodeToString(sum[:fingerprintBytes])
}

func (c EnrolCode) body() string {
	fingerprint := c.Fingerprint
	if fingerprint == "" {
		fingerprint = enrolPlain
	}
	return strings.ToUpper(strings.Join([]string{enrolMagic, c.Hub, string(c.Contractor), string(c.Device), grouped(c.Secret), grouped(fingerprint)}, "/"))
}

func enrolCheck(body string) string {
	sum := sha256.Sum256([]byte(body))
	return crockford().EncodeToString(sum[:])[:checkChars]
}

// String is the code's line, upper case.
func (c EnrolCode) String() string {
	body := c.body()
	return body + "/" + enrolCheck(body)
}

// grouped puts a hyphen after every four characters of base 32.
func grouped(s string) string {
	if s == enrolPlain {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); i += 4 {
		if i > 0 {
			b.WriteByte('-')
		}
		b.WriteString(s[i:min(i+4, len(s))])
	}
	return b.String()
}

// ParseEnrolCode reads a code's line as it was scanned or typed. A slip of the
// finger shows in the check (all but one in a million) and never reaches the
// hub.
func ParseEnrolCode(line string) (EnrolCode, error) {
	wrong := func(what string) error {
		return fault.Newf("read the enrolment code", fault.Input, what, "type or scan the whole line that `hopperbook enrol DEVICE` printed, from HB1 to its end")
	}
	parts := strings.Split(strings.ToUpper(strings.Join(strings.Fields(line), "")), "/")
	if len(parts) != 7 || parts[0] != enrolMagic {
		return EnrolCode{}, wrong("it is not the line of a code")
	}
	c := EnrolCode{Hub: strings.ToLower(parts[1]), Contractor: ContractorID(strings.ToLower(parts[2])), Device: DeviceID(strings.ToLower(parts[3])),
		Secret: base32Typed(parts[4])}
	if parts[5] != enrolPlain {
		c.Fingerprint = base32Typed(parts[5])
	}
	if base32Typed(parts[6]) != enrolCheck(c.body()) {
		return EnrolCode{}, wrong("a character is missing or wrong")
	}
	host, port, err := net.SplitHostPort(c.Hub)
	switch {
	case err != nil || host == "" || port == "":
		return EnrolCode{}, wrong("its hub address is not HOST:PORT")
	case !ValidToken(string(c.Contractor)) || !ValidToken(string(c.Device)):
		return EnrolCode{}, wrong("contractor or device are no names")
	case !isBase32(c.Secret, EnrolSecretBytes) || c.Fingerprint != "" && !isBase32(c.Fingerprint, fingerprintBytes):
		return EnrolCode{}, wrong("secret or fingerprint are cut off")
	}
	return c, nil
}

func isBase32(s string, n int) bool {
	raw, err := crockford().DecodeString(s)
	return err == nil && len(raw) == n
}

func base32Typed(s string) string {
	return strings.NewReplacer("-", "", "O", "0", "I", "1", "L", "1").Replace(s)
}

// EnrolUser is the name, and the password, under which any connection may hand
// in a code and do nothing else.
const EnrolUser = "enrol"

// EnrolInbox is the only subject prefix under which the hub answers an
// enrolment.
const EnrolInbox = "_INBOX_ENROL"

// DeviceInbox is the subject prefix of a device's own inboxes, which no other
// device may read.
func DeviceInbox(c ContractorID, d DeviceID) string {
	return "_INBOX_DEVICE." + string(c) + "." + string(d)
}

// HubServerName is a name in every certificate of a hub: whoever has pinned
// the hub's own CA asks for it, whatever address the hub has today.
const HubServerName = "hub.hopperbook.internal"

// The headers of an answer that bears a fault instead of a body: its code,
// what went wrong, what to do.
const (
	HeaderFault     = "Hopperbook-Fault"
	HeaderFaultText = "Hopperbook-Fault-Text"
	HeaderFaultHint = "Hopperbook-Fault-Hint"
)
