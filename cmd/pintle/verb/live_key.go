package verb

import (
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"pintle/cmd/pintle/whole"
)

// pageKey returns the key of the page. It is kept, readable by the user alone, so
// that a page already open finds its server again after a restart.
func (a *app) pageKey(renew bool) (string, error) {
	journal, err := a.journalPath()
	if err != nil {
		return newKey(), nil // for this run only
	}
	path := filepath.Join(filepath.Dir(journal), "page.key")
	if st, err := os.Stat(path); err == nil && !st.Mode().IsRegular() {
		return newKey(), nil // opening a pipe would wait
	}
	kept, err := keptKey(path)
	switch {
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return newKey(), nil
	case kept != "" && !renew:
		return kept, nil
	}
	k, replace := newKey(), err == nil
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err == nil {
		err = whole.Write(path, whole.How{Replace: replace, Perm: 0o600}, func(w io.Writer) error {
			_, err := io.WriteString(w, k+"\n")
			return err
		})
		if errors.Is(err, fs.ErrExist) { // another pintle has begun just now
			if kept, _ := keptKey(path); kept != "" {
				return kept, nil
			}
		}
		if err != nil {
			a.Warn(fmt.Errorf("the page's key cannot be kept, addresses change with every start: %w", err))
		}
	}
	return k, nil
}

// keptKey reads the key in a file; "" when there is none in it.
func keptKey(path string) (string, error) {
	b, err := os.ReadFile(path)
	if k := strings.TrimSpace(string(b)); err == nil && len(k) == keyLength {
		return k, nil
	}
	return "", err
}

// keyLength is 26 characters of 5 bits: 130 bits.
const keyLength = 26

func newKey() string {
	var b [17]byte
	_, _ = rand.Read(b[:]) // never fails
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b[:]))[:keyLength]
}
