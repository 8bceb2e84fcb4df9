package exchange

import (
	"strings"
	"testing"

	"hopperbook/schemas/fault"
)

func TestReadEvents(t *testing.T) {
	own := `{"specversion":"1.0","id":"01HZY3Q2Q3W4E5R6T7Y8V9B0NM","source":"/devices/sp1/a","sequence":"7","type":"job.finished","time":"2026-03-02T08:00:00Z","dataschema":"job.finished/1","data":{"job":"J1"}}`
	c, err := ReadEvents(strings.NewReader(bare + "\nnot json\n" + own + "\n" + strings.Replace(bare, "4100", "-1", 1) + "\n" + own + "\n" + bare))
	if err != nil || len(c.Events) != 3 || c.Refused != 2 || !strings.Contains(c.Why, "not json") {
		t.Errorf("%d events, %d refused (%s), %v", len(c.Events), c.Refused, c.Why, err)
	}
	if _, err := ReadEvents(failing{strings.NewReader("")}); fault.CodeOf(err) != fault.Input {
		t.Errorf("err = %v", err)
	}
}
