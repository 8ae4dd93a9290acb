package whole

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Append adds a line, which ends with a newline, to the file at path, which is
// made with its folder when missing. It goes out in one write to a file opened
// for appending, so that the lines of two programs do not mix, and is on the disk
// when Append returns. Behind a line torn by a crash a new line is begun.
func Append(path string, line []byte) (err error) {
	switch st, err := os.Stat(path); {
	case errors.Is(err, os.ErrNotExist):
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
	case err == nil && !st.Mode().IsRegular(): // opening a pipe would wait
		return fmt.Errorf("%s is not a file", path)
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	passing("opened")
	torn, fresh, err := torn(f)
	if err != nil {
		return err
	}
	if torn {
		line = append([]byte{'\n'}, line...)
	}
	if _, err := f.Write(line); err != nil {
		return err
	}
	passing("appended")
	if err := f.Sync(); err != nil {
		return err
	}
	if fresh {
		syncFolder(filepath.Dir(path))
	}
	return nil
}

// torn is true when the file does not end with the end of a line; fresh when
// it is empty.
func torn(f *os.File) (torn, fresh bool, err error) {
	st, err := f.Stat()
	if err != nil || st.Size() == 0 {
		return false, true, err
	}
	var last [1]byte
	if _, err := f.ReadAt(last[:], st.Size()-1); err != nil {
		return false, false, err
	}
	return last[0] != '\n', false, nil
}
