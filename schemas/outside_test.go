package schemas

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"testing"
)

// The contract against second implementations from the npm registry: ajv, the
// CloudEvents SDK and the AsyncAPI parser. ./test installs them where it can.
func TestContractHoldsOutside(t *testing.T) {
	t.Parallel()
	const dir = "../testdata/outside"
	node, err := exec.LookPath("node")
	if err != nil {
		t.Skip("node is not installed; the contract is not held against npm's second implementations")
	}
	if _, err := os.Stat(dir + "/node_modules/ajv"); err != nil {
		t.Skip("testdata/outside/node_modules is not there (npm ci in testdata/outside); the contract is not held against npm's second implementations")
	}
	type line struct {
		Name  string          `json:"name"`
		Type  EventType       `json:"type"`
		Valid bool            `json:"valid"`
		Event json.RawMessage `json:"event"`
	}
	var in bytes.Buffer
	lines := json.NewEncoder(&in)
	valid, invalid := 0, 0
	for _, ex := range examples(t) {
		if err := lines.Encode(line{ex.name, ex.info.Type, true, ex.raw}); err != nil {
			t.Fatal(err)
		}
		valid++
		for _, m := range mutants(t, ex) {
			if len(m.raw) > 1<<16 {
				continue // lists of too many entries: seen by the Go validator
			}
			if err := lines.Encode(line{m.name, ex.info.Type, false, m.raw}); err != nil {
				t.Fatal(err)
			}
			invalid++
		}
	}
	cmd := exec.CommandContext(t.Context(), node, "contract.mjs", "../../schemas/json", "../../schemas/asyncapi.json")
	cmd.Dir, cmd.Stdin = dir, &in
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("node: %v\n%s", err, stderr.String())
	}
	var report struct {
		Schemas, Valid, Invalid, Cloudevents, Asyncapi int
		Wrong                                          []string
	}
	if err := json.Unmarshal(out, &report); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	for _, w := range report.Wrong {
		t.Error(w)
	}
	if report.Schemas != len(Types()) || report.Valid != valid || report.Invalid != invalid || report.Cloudevents != valid || report.Asyncapi != len(Types())+1+len(cabExchanges()) {
		t.Errorf("held %+v of %d valid and %d invalid events of %d types", report, valid, invalid, len(Types()))
	}
}
