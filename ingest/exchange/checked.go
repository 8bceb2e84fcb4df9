package exchange

import (
	"fmt"
	"io"

	"hopperbook/schemas"
)

// Checked is a file of events held against the contract.
type Checked struct {
	Events  []schemas.Event // in the order of the file; an identity that comes again is left out
	Refused int             // lines that break the contract
	Why     string          // what is wrong with the first of them; ""
}

// ReadEvents reads a whole file of events for those who use it without a book. It
// gives what Events gives, checked: about the file's size in memory.
func ReadEvents(file io.ReadSeeker) (Checked, error) {
	var c Checked
	seen := map[schemas.Identity]bool{}
	for out, err := range Events(file) {
		if err != nil {
			return c, err
		}
		event, bad := schemas.Read(out.Raw)
		switch {
		case bad != nil:
			if c.Refused++; c.Refused == 1 {
				c.Why = fmt.Sprintf("%s (%.60s)", bad.Error(), out.Raw)
			}
		case !seen[event.Identity]:
			seen[event.Identity] = true
			c.Events = append(c.Events, event)
		}
	}
	return c, nil
}
