package verb

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"pintle/cmd/pintle/advice"
)

// photographs puts the files of a folder in its place, in the order of their
// names; hidden ones and folders within are left out.
func photographs(paths []string) (out []string, err error) {
	for _, p := range paths {
		fi, err := os.Stat(p)
		if err != nil || !fi.IsDir() {
			out = append(out, p) // a file that is not there is told when it is read
			continue
		}
		entries, err := os.ReadDir(p)
		if err != nil {
			return nil, advice.With(err, "check that the folder can be read")
		}
		for _, e := range entries {
			if !e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
				out = append(out, filepath.Join(p, e.Name()))
			}
		}
	}
	if len(out) < 2 {
		return nil, advice.With(fmt.Errorf("got %d of at least 2 photographs", len(out)), "name two or more photographs between which the mount was turned about its RA axis")
	}
	return out, nil
}
