package schemas

// pattern is the regular expression of a format, for the JSON Schemas; the
// checker's own functions below run on every event and must agree with it
// (a test compares them).
func pattern(format string) string {
	switch format {
	case "id":
		return idPattern
	case "token":
		return tokenPattern
	case "ulid":
		return ulidPattern
	case "date-time":
		return timePattern
	case "decimal":
		return `^-?\d{1,15}(\.\d{1,8})?$`
	case "currency":
		return `^[A-Z]{3}$`
	case "sha256":
		return `^[0-9a-f]{64}$`
	}
	panic("schemas: no pattern for format " + format)
}

func formatHelp(format string) string {
	switch format {
	case "id":
		return "1 to 64 letters, digits, '.', '_' or '-', beginning with a letter or digit"
	case "token":
		return "1 to 48 lower-case letters, digits, '_' or '-', beginning with a letter or digit"
	case "ulid":
		return "a ULID of 26 characters"
	case "date-time":
		return "a time like 2026-03-01T08:30:00Z"
	case "decimal":
		return "a decimal number as text, like \"12.50\""
	case "currency":
		return "an ISO 4217 code of three capital letters"
	}
	return "64 lower-case hex digits"
}

func formatOK(format, s string) bool {
	switch format {
	case "id":
		return validID(s)
	case "token":
		return ValidToken(s)
	case "ulid":
		return validULID(s)
	case "date-time":
		_, ok := parseTime(s)
		return ok
	case "decimal":
		return validDecimal(s)
	case "currency":
		return len(s) == 3 && isUpper(s[0]) && isUpper(s[1]) && isUpper(s[2])
	}
	return validSHA256(s)
}

func isUpper(c byte) bool { return c >= 'A' && c <= 'Z' }
func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func validDecimal(s string) bool {
	if len(s) > 0 && s[0] == '-' {
		s = s[1:]
	}
	whole := 0
	for whole < len(s) && isDigit(s[whole]) {
		whole++
	}
	if whole == 0 || whole > 15 {
		return false
	}
	if whole == len(s) {
		return true
	}
	frac := s[whole+1:]
	if s[whole] != '.' || len(frac) == 0 || len(frac) > 8 {
		return false
	}
	for i := 0; i < len(frac); i++ {
		if !isDigit(frac[i]) {
			return false
		}
	}
	return true
}

func validSHA256(s string) bool {
	if len(s) != 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		if !isDigit(s[i]) && (s[i] < 'a' || s[i] > 'f') {
			return false
		}
	}
	return true
}
