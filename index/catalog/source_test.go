package catalog

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A pipe, a device or a folder in the place of a catalogue must not be waited for.
func TestCatalogueThatIsNoFile(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "stars.csv")
	if err := mkfifo(pipe); err != nil {
		t.Skip(err)
	}
	for _, path := range []string{pipe, os.DevNull, dir} {
		if _, err := File(path); err == nil || !strings.Contains(err.Error(), "want a catalogue file") {
			t.Errorf("%s: %v", path, err)
		}
	}
}
