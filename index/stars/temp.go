package stars

import "os"

// tempNames is the pattern of the names of the files in which lists are sorted
// and put together.
const tempNames = "stars-*.tmp"

// createTemp makes such a file, which the caller removes.
func createTemp(dir string) (*os.File, error) { return os.CreateTemp(dir, tempNames) }
