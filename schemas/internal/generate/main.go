package main

import (
	"fmt"
	"os"
	"path/filepath"

	"hopperbook/schemas"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: generate DIR")
		os.Exit(2)
	}
	if err := generate(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

func generate(dir string) error {
	old, err := filepath.Glob(filepath.Join(dir, "json", "*.schema.json"))
	if err != nil {
		return err
	}
	files := schemas.Generate()
	for _, path := range old {
		name := "json/" + filepath.Base(path)
		if _, kept := files[name]; kept {
			continue
		}
		if err := os.Remove(path); err != nil {
			return err
		}
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(name)), content, 0o644); err != nil {
			return err
		}
	}
	return nil
}
