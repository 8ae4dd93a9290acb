package stars

import (
	"os"
	"path/filepath"
	"time"
)

// tempNames is the pattern of the names of the files in which lists are sorted
// and put together.
const tempNames = "stars-*.tmp"

// createTemp makes such a file, which the caller removes.
func createTemp(dir string) (*os.File, error) { return os.CreateTemp(dir, tempNames) }

// Sweep removes what builders that were killed left in a folder, as far as
// nothing was written to it since the given time.
func Sweep(dir string, since time.Time) {
	left, _ := filepath.Glob(filepath.Join(dir, tempNames))
	for _, path := range left {
		if fi, err := os.Stat(path); err == nil && fi.ModTime().Before(since) {
			os.Remove(path)
		}
	}
}
