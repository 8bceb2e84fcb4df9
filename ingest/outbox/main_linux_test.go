package outbox

import (
	"fmt"
	"os"
	"testing"
)

// TestMain is also what the child processes of the tests run.
func TestMain(m *testing.M) {
	for name, child := range children() {
		if arg := os.Getenv(name); arg != "" {
			if err := child(arg); err != nil {
				fmt.Fprintln(os.Stderr, err)
				os.Exit(1)
			}
			os.Exit(0)
		}
	}
	os.Exit(m.Run())
}
