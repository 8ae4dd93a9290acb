package session

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A file of a kind that nobody knows may be one that is still being written, but what
// is said of it is that its kind is not known.
func TestUnknownKindIsNotCalledHalfAFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.raw")
	if err := os.WriteFile(path, []byte("XRAWFMT1"+strings.Repeat("\x00\x9c", 500)), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := (&Photographs{Now: time.Now}).Read(context.Background(), path)
	if err != nil || f.Miss == nil {
		t.Fatalf("frame %+v, error %v", f, err)
	}
	if m := f.Miss; m.Kind != NoPicture || !errors.Is(m.Err, ErrNotWhole) {
		t.Errorf("kind %v, %v: want no picture that may become one", m.Kind, m.Err)
	}
	if s := f.Miss.Err.Error(); strings.Contains(s, "not whole") || !strings.Contains(s, "not a picture of a known kind") {
		t.Errorf("%q, want that the kind is not known", s)
	}
}
