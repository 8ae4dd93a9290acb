package watch

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// start watches dir until the test ends.
func start(t *testing.T, dir string, o Options) *Watcher {
	t.Helper()
	w := New(dir, o)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	// What is written from here on is new.
	until(t, "the first look", func() bool {
		w.mu.Lock()
		defer w.mu.Unlock()
		return w.state.Gone || w.state.Events || o.NoEvents && w.looked > 0
	})
	return w
}

func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not happen within 20 s", what)
		}
	}
}

func next(t *testing.T, w *Watcher, newest bool) File {
	t.Helper()
	var f File
	until(t, "a file", func() (ok bool) { f, ok = w.Take(newest); return ok })
	return f
}

func none(t *testing.T, w *Watcher) {
	t.Helper()
	time.Sleep(150 * time.Millisecond)
	if f, ok := w.Take(false); ok {
		t.Fatalf("got %s, want nothing", f.Path)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// both runs a test with the system's events and without.
func both(t *testing.T, f func(t *testing.T, o Options)) {
	for _, without := range []bool{false, true} {
		t.Run(fmt.Sprintf("without events %v", without), func(t *testing.T) {
			f(t, Options{NoEvents: without, Settle: 60 * time.Millisecond, Look: 20 * time.Millisecond})
		})
	}
}

func TestNewFileIsOfferedOnce(t *testing.T) {
	both(t, func(t *testing.T, o Options) {
		dir := t.TempDir()
		write(t, filepath.Join(dir, "old"), "was there")
		w := start(t, dir, o)
		path := filepath.Join(dir, "new")
		write(t, path, "frame")
		if f := next(t, w, false); f.Path != path || f.Size != 5 {
			t.Fatalf("got %+v", f)
		}
		none(t, w)
		if n := w.State().Present; n != 1 {
			t.Fatalf("%d files left alone, want 1", n)
		}
	})
}

func TestGrowingFileWaits(t *testing.T) {
	both(t, func(t *testing.T, o Options) {
		o.Settle = 300 * time.Millisecond
		dir := t.TempDir()
		w := start(t, dir, o)
		path := filepath.Join(dir, "slow")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for range 20 {
			fmt.Fprint(f, "part ")
			time.Sleep(10 * time.Millisecond)
			if got, ok := w.Take(false); ok && got.Size < 100 {
				t.Fatalf("offered at %d of 100 bytes", got.Size)
			}
		}
		if got := next(t, w, false); got.Size != 100 {
			t.Fatalf("offered at %d of 100 bytes", got.Size)
		}
	})
}

func TestHandedBack(t *testing.T) {
	dir := t.TempDir()
	w := start(t, dir, Options{Settle: 5 * time.Millisecond, Patience: 150 * time.Millisecond})
	path := filepath.Join(dir, "half")
	write(t, path, "ha")
	f := next(t, w, true)
	offers := 1
	for !f.Last {
		w.NotYet(f)
		f = next(t, w, true)
		offers++
	}
	if offers < 3 {
		t.Errorf("offered %d times within the patience, want at least 3", offers)
	}
	w.NotYet(f)
	none(t, w)
	write(t, path, "half and half")
	if f := next(t, w, true); f.Size != 13 || f.Last {
		t.Errorf("after it grew: %+v", f)
	}
}

func TestRenamedIntoPlace(t *testing.T) {
	both(t, func(t *testing.T, o Options) {
		dir, outside := t.TempDir(), t.TempDir()
		w := start(t, dir, o)
		hidden, from := filepath.Join(dir, ".making"), filepath.Join(outside, "frame")
		write(t, hidden, "inside")
		write(t, from, "outside")
		none(t, w)
		for _, from := range []string{hidden, from} {
			to := filepath.Join(dir, "from "+filepath.Base(filepath.Dir(from))+filepath.Base(from))
			if err := os.Rename(from, to); err != nil {
				t.Fatal(err)
			}
			if f := next(t, w, false); f.Path != to {
				t.Fatalf("got %s, want %s", f.Path, to)
			}
		}
		none(t, w)
	})
}

func TestNewestWins(t *testing.T) {
	dir := t.TempDir()
	w := start(t, dir, Options{})
	base := time.Now()
	for i := range 5 {
		path := filepath.Join(dir, fmt.Sprint(9-i)) // names say nothing
		write(t, path, "frame")
		if err := os.Chtimes(path, base, base.Add(time.Duration(i)*time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "all to be ready", func() bool { w.mu.Lock(); defer w.mu.Unlock(); return len(w.ready) == 5 })
	if f := next(t, w, false); filepath.Base(f.Path) != "9" {
		t.Errorf("oldest is %s, want 9", f.Path)
	}
	f := next(t, w, true)
	if filepath.Base(f.Path) != "5" {
		t.Errorf("newest is %s, want 5", f.Path)
	}
	if n := w.Waiting(); n != 3 {
		t.Errorf("%d wait behind it, want 3: it may be no photograph", n)
	}
	w.PassOver(f)
	if passed := w.Passed(); len(passed) != 3 || filepath.Base(passed[0].Path) != "8" || len(w.Passed()) != 0 {
		t.Errorf("passed over %v, want 8, 7 and 6, once", passed)
	}
	if _, ok := w.Take(true); ok {
		t.Error("passed-over files come back")
	}
	if n := w.State().Skipped; n != 3 {
		t.Errorf("%d passed over, want 3", n)
	}
}

func TestSubFolders(t *testing.T) {
	both(t, func(t *testing.T, o Options) {
		dir := t.TempDir()
		w := start(t, dir, o)
		deep := filepath.Join(dir, "night", "lights")
		if err := os.MkdirAll(deep, 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(deep, "a"), "frame")
		if f := next(t, w, false); f.Path != filepath.Join(deep, "a") {
			t.Fatalf("got %s", f.Path)
		}
		write(t, filepath.Join(deep, "b"), "frame")
		if f := next(t, w, false); f.Path != filepath.Join(deep, "b") {
			t.Fatalf("got %s", f.Path)
		}
		none(t, w)
	})
}

func TestFolderVanishesAndReturns(t *testing.T) {
	both(t, func(t *testing.T, o Options) {
		if runtime.GOOS == "windows" {
			t.Skip("a watched folder cannot be renamed on Windows")
		}
		root := t.TempDir()
		dir, away := filepath.Join(root, "frames"), filepath.Join(root, "away")
		w := start(t, dir, o) // not there yet
		if !w.State().Gone {
			t.Fatal("an absent folder is not reported")
		}
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		until(t, "the folder to be found", func() bool { return !w.State().Gone })
		write(t, filepath.Join(dir, "one"), "frame")
		next(t, w, false)
		if err := os.Rename(dir, away); err != nil {
			t.Fatal(err)
		}
		until(t, "the loss to be noticed", func() bool { return w.State().Gone })
		write(t, filepath.Join(away, "two"), "frame")
		if err := os.Rename(away, dir); err != nil {
			t.Fatal(err)
		}
		if f := next(t, w, false); filepath.Base(f.Path) != "two" {
			t.Fatalf("got %s, want two and not one again", f.Path)
		}
		none(t, w)
		write(t, filepath.Join(dir, "three"), "frame")
		if f := next(t, w, false); filepath.Base(f.Path) != "three" {
			t.Fatalf("got %s, want three", f.Path)
		}
	})
}

func TestOverwrittenFileIsANewOne(t *testing.T) {
	dir := t.TempDir()
	w := start(t, dir, Options{})
	path := filepath.Join(dir, "latest")
	for i := range 3 {
		write(t, path, fmt.Sprint("frame ", i, i, i)[:7+i])
		if f := next(t, w, true); f.Size != int64(7+i) {
			t.Fatalf("round %d: %+v", i, f)
		}
	}
}

func TestSince(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	for i, name := range []string{"long ago", "just now"} {
		path := filepath.Join(dir, name)
		write(t, path, "frame")
		if err := os.Chtimes(path, now, now.Add(time.Duration(i-1)*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	w := start(t, dir, Options{Since: now.Add(-time.Minute)})
	if f := next(t, w, false); filepath.Base(f.Path) != "just now" {
		t.Fatalf("got %s", f.Path)
	}
	none(t, w)
}

func TestNotAFolder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	write(t, path, "x")
	if err := New(path, Options{}).Run(context.Background()); err == nil {
		t.Fatal("a file passes for a folder")
	}
}

func TestLinkToFolder(t *testing.T) {
	dir, link := t.TempDir(), filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(dir, link); err != nil {
		t.Skip("no symbolic links here: ", err)
	}
	w := start(t, link, Options{NoEvents: true, Look: 10 * time.Millisecond})
	write(t, filepath.Join(dir, "one"), "frame")
	if f := next(t, w, false); f.Path != filepath.Join(link, "one") {
		t.Fatalf("got %s", f.Path)
	}
}

// Folders too deep or too many are not looked at, and named.
func TestLimitsAreTold(t *testing.T) {
	both(t, func(t *testing.T, o Options) {
		dir := t.TempDir()
		w := start(t, dir, o)
		if s := w.State(); s.TooDeep+s.TooMany != "" {
			t.Fatalf("an empty folder: %+v", s)
		}
		deep := dir
		for i := range MostDeep + 1 {
			deep = filepath.Join(deep, fmt.Sprint(i))
		}
		if err := os.MkdirAll(filepath.Join(deep, "further"), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(deep, "frame"), "not seen")
		write(t, filepath.Join(filepath.Dir(deep), "frame"), "seen")
		if f := next(t, w, false); f.Path != filepath.Join(filepath.Dir(deep), "frame") {
			t.Errorf("got %s", f.Path)
		}
		until(t, "the telling", func() bool { return w.State().TooDeep == deep })
		if err := os.RemoveAll(filepath.Join(dir, "0")); err != nil {
			t.Fatal(err)
		}
		until(t, "the end of it", func() bool { return w.State().TooDeep == "" })
		for i := range MostFolders {
			if err := os.Mkdir(filepath.Join(dir, fmt.Sprintf("n%03d", i)), 0o755); err != nil {
				t.Fatal(err)
			}
		}
		until(t, "the telling", func() bool { return w.State().TooMany == filepath.Join(dir, fmt.Sprintf("n%03d", MostFolders-1)) })
	})
}
