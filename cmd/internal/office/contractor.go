package office

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"hopperbook/ingest/hub"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const contractorFile = "contractor"

// contractorOf is whose book the folder holds. It is settled the first time a
// hub runs there and kept beside the book: the stream in the same folder bears
// its name, and another name would leave its events unread.
func contractorOf(dir string, asked schemas.ContractorID) (schemas.ContractorID, error) {
	raw, err := os.ReadFile(filepath.Join(dir, contractorFile))
	kept := schemas.ContractorID(strings.TrimSpace(string(raw)))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if asked == "" {
			asked = hub.DefaultContractor
		}
		return asked, nil
	case err != nil:
		return "", fault.New("read whose book it is", fault.Internal, err, "")
	case asked != "" && asked != kept:
		return "", fault.Newf("open the book", fault.Conflict, fmt.Sprintf("it is the book of %s, not of %s", kept, asked), "leave --contractor out, or name another folder with --book DIR")
	}
	return kept, nil
}

// keepContractor writes down whose book it is, once.
func keepContractor(dir string, c schemas.ContractorID) error {
	name := filepath.Join(dir, contractorFile)
	if _, err := os.Stat(name); err == nil {
		return nil
	}
	if err := os.WriteFile(name, []byte(string(c)+"\n"), 0o644); err != nil {
		return fault.New("write down whose book it is", fault.Full, err, "is "+dir+" writable, and has the disk room?")
	}
	return nil
}
