package session

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"pintle/cmd/night/posed"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/watch"
)

// witness is a view that remembers.
type witness struct {
	mu     sync.Mutex
	frames []State
	notes  []NoteKind
	last   State
}

func (w *witness) Frame(s State) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.frames = append(w.frames, s)
	w.take(s)
}

func (w *witness) Show(s State) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.take(s)
}

func (w *witness) take(s State) {
	for _, n := range s.Notes {
		w.notes = append(w.notes, n.Kind)
	}
	w.last = s
}

// until waits for something to be seen.
func (w *witness) until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(2 * time.Millisecond) {
		w.mu.Lock()
		done := ok()
		w.mu.Unlock()
		if done {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%s did not happen within 20 s; last %+v", what, w.last)
		}
	}
}

func (w *witness) noted(t *testing.T, kind NoteKind) {
	t.Helper()
	w.until(t, "the note", func() bool {
		for _, n := range w.notes {
			if n == kind {
				return true
			}
		}
		return false
	})
}

// frameNumber waits for the n-th frame.
func (w *witness) frameNumber(t *testing.T, n int) State {
	t.Helper()
	w.until(t, "a frame", func() bool { return len(w.frames) >= n })
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.frames[n-1]
}

// loop runs on posed frames in dir until the test ends.
func loop(t *testing.T, dir, path string) (*Run, *witness) {
	t.Helper()
	w := &witness{}
	ctx, cancel := context.WithCancel(context.Background())
	s := newSessionFor(t, newPosed(t), func(c *Config) { c.Journal, c.Folder = path, dir })
	_, _ = s.LookBack(time.Hour) // there may be none
	r := &Run{Session: s, Now: time.Now, Views: []View{w}, Actions: make(chan Action, 8),
		Watch: watch.New(dir, watch.Options{Patience: 300 * time.Millisecond, Since: time.Now().Add(-time.Hour)})}
	watched, done := make(chan error, 1), make(chan error, 1)
	go func() { watched <- r.Watch.Run(ctx) }()
	go func() { done <- r.Until(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		<-watched
	})
	return r, w
}

func TestLoopTakesUpWholeFramesOnce(t *testing.T) {
	dir := t.TempDir()
	_, w := loop(t, dir, filepath.Join(t.TempDir(), "j"))
	// Written in two halves.
	b, err := json.Marshal(posed.Pose{Turn: 10})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "one.json")
	if err := os.WriteFile(path, b[:9], 0o644); err != nil {
		t.Fatal(err)
	}
	time.Sleep(100 * time.Millisecond)
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	if s := w.frameNumber(t, 1); !s.Last.In() {
		t.Fatalf("%+v", s.Last.Miss)
	}
	// The same again under another name.
	posed.Pose{Turn: 10}.Save(t, filepath.Join(dir, "copy.json"))
	w.noted(t, AgainSeen)
	// A file that is never finished is told of, once it is given up.
	if err := os.WriteFile(filepath.Join(dir, "torn.json"), b[:9], 0o644); err != nil {
		t.Fatal(err)
	}
	if s := w.frameNumber(t, 2); s.Last.In() || s.Last.Miss.Kind != Unreadable || s.Last.Name != "torn.json" {
		t.Fatalf("%+v", s.Last)
	}
	if len(w.frames) != 2 {
		t.Errorf("%d frames, want 2", len(w.frames))
	}
}

func TestLoopFolderGoesAndReturns(t *testing.T) {
	root := t.TempDir()
	dir := filepath.Join(root, "frames")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	_, w := loop(t, dir, filepath.Join(root, "j"))
	posed.Pose{}.Save(t, filepath.Join(dir, "one.json"))
	w.frameNumber(t, 1)
	if err := os.Rename(dir, dir+"-away"); err != nil {
		t.Skip("a watched folder cannot be renamed here: ", err)
	}
	w.noted(t, FolderGone)
	if err := os.Rename(dir+"-away", dir); err != nil {
		t.Fatal(err)
	}
	w.noted(t, FolderBack)
	posed.Pose{At: 20, Turn: 20}.Save(t, filepath.Join(dir, "two.json"))
	if s := w.frameNumber(t, 2); s.Answer == nil {
		t.Errorf("no answer after the folder returned: %+v", s)
	}
}

// The journal cannot be written: the run goes on and says so.
func TestLoopWithoutJournal(t *testing.T) {
	dir := t.TempDir()
	_, w := loop(t, dir, t.TempDir()) // a folder is no file
	posed.Pose{}.Save(t, filepath.Join(dir, "one.json"))
	w.noted(t, NotKept)
	if s := w.frameNumber(t, 1); !s.Last.In() {
		t.Errorf("%+v", s)
	}
}

func TestLoopActsAndResumes(t *testing.T) {
	dir, path := t.TempDir(), filepath.Join(t.TempDir(), "j")
	r, w := loop(t, dir, path)
	for i, p := range posed.Course(newPosed(t).Camera)[:6] {
		p.Save(t, filepath.Join(dir, string(rune('a'+i))+".json"))
		w.frameNumber(t, i+1)
	}
	w.mu.Lock()
	stood := w.last
	w.mu.Unlock()
	r.Actions <- Action{Name: Tolerance, Value: 3}
	r.Actions <- Action{Name: Mute, Value: 1}
	w.until(t, "tolerance and mute", func() bool { return w.last.Setting.Tolerance == 3*arcmin && w.last.Muted })
	r.Actions <- Action{Name: Tolerance, Value: 0}
	w.noted(t, NotDone)
	r.Actions <- Action{Name: Fresh}
	w.noted(t, Begun)
	w.until(t, "no answer", func() bool { return w.last.Answer == nil && w.last.Phase == Measuring })

	// Another run of the same folder is offered the earlier one.
	other := t.TempDir()
	again, w2 := loop(t, dir, path)
	w2.until(t, "the offer", func() bool { return w2.last.Offer != nil })
	again.Actions <- Action{Name: ResumeRun}
	w2.noted(t, Resumed)
	resumed := stood
	w2.until(t, "the answer", func() bool { resumed = w2.last; return w2.last.Answer != nil })
	if d := resumed.Answer.Offset.Total - stood.Answer.Offset.Total; d.Abs() > arcmin/1e6 || resumed.Phase != stood.Phase || resumed.Offer != nil || resumed.Setting.Site != stood.Setting.Site {
		t.Errorf("resumed at %v in %s, stood at %v in %s", resumed.Answer.Offset.Total, resumed.Phase, stood.Answer.Offset.Total, stood.Phase)
	}
	// A run of another folder is not.
	_, w3 := loop(t, other, path)
	first := stood
	w3.until(t, "the first state", func() bool { first = w3.last; return w3.last.Seq > 0 })
	if first.Offer != nil {
		t.Errorf("offered %v", first.Offer)
	}
	records := mustRead(t, path)
	for i, want := range []string{journal.Sighting, journal.Measurement, journal.Measurement, journal.Adjustment} {
		if records[i].Kind != want {
			t.Errorf("record %d is a %s, want %s", i+1, records[i].Kind, want)
		}
	}
	if m := records[4].Moved; m == nil || m.Alt == 0 {
		t.Errorf("the turn of the altitude adjuster is not recorded: %+v", records[4])
	}
}

// What takes long is told while it lasts.
func TestLongWorkIsTold(t *testing.T) {
	w := &witness{}
	r := &Run{Session: newSessionFor(t, newPosed(t), nil), Views: []View{w}}
	r.Tell(Note{Kind: LongSearch})
	w.noted(t, LongSearch)
}

// Folders that are too deep to be watched are told of, frame or no frame, for as
// long as they are there.
func TestFolderTooDeepIsTold(t *testing.T) {
	dir := t.TempDir()
	_, w := loop(t, dir, filepath.Join(t.TempDir(), "j"))
	deep := filepath.Join(dir, "a", "b", "c", "d", "e", "f", "g")
	if err := os.MkdirAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	posed.Pose{}.Save(t, filepath.Join(deep, "one.json"))
	w.noted(t, FolderTooDeep)
	posed.Pose{}.Save(t, filepath.Join(dir, "one.json"))
	if s := w.frameNumber(t, 1); kinds(s.Notes) != kinds([]Note{{Kind: FolderTooDeep}}) {
		t.Errorf("with the frame: %s", kinds(s.Notes))
	}
}
