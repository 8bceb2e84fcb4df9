package book

import (
	"os"
	"path/filepath"
)

// Exists reports whether dir holds a book, without opening or making one.
func Exists(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, bookFile))
	return err == nil
}
