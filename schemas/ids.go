package schemas

// The identifiers of the book. Each is its own type so that two cannot be
// swapped. Valid text: see idPattern (letters, digits, '.', '_', '-', at most
// 64 characters).
type (
	CustomerID  string
	FieldID     string
	MachineID   string
	ProductID   string
	AgreementID string
	JobID       string
	LoadID      string
	RefillID    string
	DocketID    string
	StockpileID string
	ScaleID     string
	TestID      string
	NoticeID    string
	InvoiceNo   string
	Operator    string
	HoldingID   string
)

// ContractorID and DeviceID are also NATS subject tokens: lower-case letters,
// digits, '_' and '-', at most 48 characters.
type (
	ContractorID string
	DeviceID     string
)

// EventID is the ULID of an event; Source is the CloudEvents source that made it.
type (
	EventID string
	Source  string
)

const (
	idPattern    = `^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`
	tokenPattern = `^[a-z0-9][a-z0-9_-]{0,47}$`
	ulidPattern  = `^[0-7][0-9A-HJKMNP-TV-Z]{25}$`
	// timePattern is RFC 3339 without leap seconds and lower-case letters, years
	// 1900 to 2200, so that every instant fits in nanoseconds. That a month has
	// such a day is left to the format.
	timePattern = `^(19[0-9]{2}|2[01][0-9]{2}|2200)-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]{1,9})?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$`
	datePattern = `^(19[0-9]{2}|2[01][0-9]{2}|2200)-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$`
)

// validID reports whether s matches idPattern; hand-written because it runs
// for every identifier of every event.
func validID(s string) bool {
	if len(s) == 0 || len(s) > 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9':
		case i > 0 && (c == '.' || c == '_' || c == '-'):
		default:
			return false
		}
	}
	return true
}

// ValidToken reports whether s can stand as a NATS subject token of ours.
func ValidToken(s string) bool {
	if len(s) == 0 || len(s) > 48 {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
		case i > 0 && (c == '_' || c == '-'):
		default:
			return false
		}
	}
	return true
}

func validULID(s string) bool {
	if len(s) != 26 || s[0] > '7' {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c >= '0' && c <= '9':
		case c >= 'A' && c <= 'Z' && c != 'I' && c != 'L' && c != 'O' && c != 'U':
		default:
			return false
		}
	}
	return true
}
