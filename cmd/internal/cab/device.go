package cab

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"hopperbook/ingest/link"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const deviceFile = "device"

// Device is the name this folder's tablet has: the one it is enrolled under,
// else the one asked for, else the one it had before, else one made of the
// computer's name. It is kept, so that a computer that is renamed goes on
// under the old one.
func Device(dir string, asked schemas.DeviceID) (schemas.DeviceID, error) {
	const op = "name the tablet"
	creds, enrolled, err := link.ReadCredentials(dir)
	if err != nil {
		return "", err
	}
	kept, err := keptDevice(dir)
	if err != nil {
		return "", err
	}
	name := asked
	switch {
	case enrolled && asked != "" && asked != creds.Device:
		return "", fault.Newf(op, fault.Conflict, fmt.Sprintf("it is enrolled as %s, not as %s", creds.Device, asked), "leave --device out, or use another --dir for another device")
	case enrolled:
		name = creds.Device
	case asked == "" && kept != "":
		name = kept
	case asked == "":
		name = hostDevice()
	}
	if !schemas.ValidToken(string(name)) {
		return "", fault.Newf(op, fault.Usage, fmt.Sprintf("%q is no device name", name), "use lower-case letters, digits, '-' and '_'")
	}
	if kept != "" && kept != name {
		return "", fault.Newf(op, fault.Conflict, fmt.Sprintf("the entries in %s are of the device %s, not of %s", dir, kept, name),
			"start with --device "+string(kept)+", or with another --dir")
	}
	if kept == "" {
		err = replaceFile(filepath.Join(dir, deviceFile), []byte(name+"\n"))
	}
	return name, err
}

func keptDevice(dir string) (schemas.DeviceID, error) {
	raw, err := os.ReadFile(filepath.Join(dir, deviceFile))
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", fault.New("name the tablet", fault.Usage, err, "run the program as the user that owns "+dir)
	}
	return schemas.DeviceID(strings.TrimSpace(string(raw))), nil
}

// MayEnrol refuses a name that is not the one under which this folder's
// entries were made: the hub would take none of them.
func MayEnrol(dir string, as schemas.DeviceID) error {
	kept, err := keptDevice(dir)
	if err != nil {
		return err
	}
	if kept != "" && kept != as {
		return fault.Newf("enrol", fault.Conflict, fmt.Sprintf("the entries in %s are of the device %s, and the code is for %s", dir, kept, as),
			"ask the office for a code for "+string(kept)+", or enrol with another --dir")
	}
	return nil
}

// hostDevice is a device name made of the computer's.
func hostDevice() schemas.DeviceID {
	host, err := os.Hostname()
	if err != nil {
		host = ""
	}
	var b strings.Builder
	for _, r := range strings.ToLower(host) {
		if (r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' && b.Len() > 0) && b.Len() < 40 {
			b.WriteRune(r)
		}
	}
	if b.Len() == 0 {
		return "tablet"
	}
	return schemas.DeviceID(b.String())
}
