package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"hopperbook/schemas"
)

func TestGenerateWritesAllAndRemovesTheOld(t *testing.T) {
	dir := t.TempDir()
	stale, kept := filepath.Join(dir, "json", "gone.away.schema.json"), filepath.Join(dir, "json", "README.md")
	if err := os.Mkdir(filepath.Join(dir, "json"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{stale, kept} {
		if err := os.WriteFile(path, []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := generate(dir); err != nil {
		t.Fatal(err)
	}
	for name, want := range schemas.Generate() {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := os.Stat(stale); !os.IsNotExist(err) {
		t.Errorf("the schema of a type that is gone is still there (%v)", err)
	}
	if _, err := os.Stat(kept); err != nil {
		t.Errorf("a file that is not a schema was removed: %v", err)
	}
	if generate(filepath.Join(dir, "nowhere")) == nil {
		t.Error("writing into no folder is no error")
	}
}
