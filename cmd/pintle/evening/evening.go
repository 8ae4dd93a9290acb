package evening

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/hands"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/whole"
	"pintle/index/written"
)

// Config is what an evening is made of.
type Config struct {
	Folder  string // is made when missing
	Gear    string // the gear file, which need not be there
	Journal string // the file of the record, "" for none
	Watch   string // folder of a camera program whose new files are taken over, "" for none
	Now     func() time.Time
	Photos  *session.Photographs
	Views   []session.View // shown every state of the session
	// Shooter opens the camera at an address, to photograph into a folder; nil when
	// none can be commanded. Hands opens camera and mount; nil when RA cannot be turned.
	Shooter func(ctx context.Context, at string, exposure time.Duration, dir string) (Shooter, error)
	Hands   func(context.Context, Task) (h *hands.Hands, closeAll func() error, err error)
	// Picture takes the picture of the last frame, a PNG; Changed is told that the
	// Summary is another.
	Picture func(png []byte) int
	Changed func(version uint64)
}

// Evening is one evening. Its methods may be called at any time by anyone; what
// takes long is done by Run, one thing after the other.
type Evening struct {
	c       Config
	actions chan session.Action

	mu       sync.Mutex
	kept     kept
	state    session.State // the session's latest
	version  uint64
	jobs     []func(context.Context) // for the one who has the session
	looks    []*Photograph           // to be read
	takes    []*Photograph           // to be measured
	wake     chan struct{}
	working  string          // what is being worked on
	gear     stamp           // of the gear file, when the session was last made
	trouble  *Trouble        // what went wrong with the program's own work
	taken    map[string]bool // names that are given to uploads under way
	room     int64           // bytes that uploads under way may still write
	slots    chan struct{}   // of uploads at once
	running  context.Context // of Run
	endShot  func()          // stops the camera that photographs, nil when none does
	shot     Shooting        // what it is at
	shooters sync.WaitGroup
	command  command
	showing  sync.Mutex // so that views see one state after the other

	// Of Run alone.
	run   *session.Run
	cache map[string]*session.Frame
}

// Trouble is what stands in the way of the program itself.
type Trouble struct {
	Error string `json:"error"`
	Hint  string `json:"hint"`
}

func troubleOf(err error) *Trouble {
	if err == nil {
		return nil
	}
	return &Trouble{err.Error(), advice.Of(err)}
}

// Open opens the evening of a folder, or begins one there.
func Open(c Config) (*Evening, error) {
	for _, dir := range []string{c.Folder, filepath.Join(c.Folder, photosName), filepath.Join(c.Folder, picsName)} {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return nil, advice.With(err, "name another folder with --folder")
		}
	}
	k, err := load(c.Folder)
	if err != nil {
		return nil, err
	}
	e := &Evening{c: c, kept: k, actions: make(chan session.Action, 16), wake: make(chan struct{}, 1), taken: map[string]bool{},
		slots: make(chan struct{}, mostAtOnce), cache: map[string]*session.Frame{}, command: command{by: map[string]string{}}}
	e.command.rests(session.TurnsOf(k.Turns))
	for _, p := range k.Photographs {
		e.command.took(p.Name, p.TakenBy)
	}
	if c.Watch != "" {
		e.kept.Following = true
	}
	e.mend()
	if err := e.begin(true); err != nil {
		// A gear file that is no good must not keep anyone from the evening.
		e.trouble = troubleOf(err)
		e.kept.Mount, e.kept.Camera = "", ""
		if err := e.begin(true); err != nil {
			return nil, err
		}
	}
	return e, nil
}

// Alone does what the program does in an evening's folder while no other run of
// it does.
func Alone(dir string, do func() error) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return advice.With(err, "name another folder with --folder")
	}
	return whole.Locked(filepath.Join(dir, keptName), do)
}

// AddressFile is where the page's address is kept while the program runs.
func AddressFile(dir string) string { return filepath.Join(dir, addressName) }

// Actions is where a face puts what the person asks of the session.
func (e *Evening) Actions() chan session.Action { return e.actions }

// Attach adds a face before Run, and shows it at once what stands: a page that is
// served has it before anybody looks.
func (e *Evening) Attach(v session.View, picture func([]byte) int, changed func(uint64)) {
	e.c.Views = append(e.c.Views, v)
	e.c.Picture, e.c.Changed = picture, changed
	e.present(false)
}

// change changes what is kept, writes it, and lets after follow.
func (e *Evening) change(do func(*kept) error, after ...func()) error {
	e.mu.Lock()
	back := e.kept.snapshot()
	err := do(&e.kept)
	if err == nil {
		err = e.kept.save(e.c.Folder)
	}
	if err != nil {
		back()
	}
	e.mu.Unlock()
	if err != nil {
		return err
	}
	for _, f := range after {
		f()
	}
	e.tell()
	return nil
}

// note changes what is known of a photograph; what cannot be written stands all
// the same, until the program ends, and is told.
func (e *Evening) note(p *Photograph, do func(*Photograph)) {
	e.mu.Lock()
	do(p)
	err := e.kept.save(e.c.Folder)
	if err != nil {
		e.trouble = troubleOf(err)
	}
	e.mu.Unlock()
	e.tell()
}

// tell says that the summary is another.
func (e *Evening) tell() {
	e.mu.Lock()
	e.version++
	v, told := e.version, e.c.Changed
	e.mu.Unlock()
	if told != nil {
		told(v)
	}
}

// chosen are camera and mount of the gear file, "" for the file's default.
func (e *Evening) chosen() (camera, mount string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.kept.Camera, e.kept.Mount
}

// UseGear chooses camera and mount of the gear file; "" is the file's default.
func (e *Evening) UseGear(camera, mount string) error {
	if err := e.still(); err != nil {
		return err
	}
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return err
	}
	if _, _, ok := gear.Pick(g.Gear.Cameras, camera, g.Gear.Default.Camera); !ok && camera != "" {
		return unknown("camera", camera, g.Gear.Names(gear.KindCamera))
	}
	if _, _, ok := gear.Pick(g.Gear.Mounts, mount, g.Gear.Default.Mount); !ok && mount != "" {
		return unknown("mount", mount, g.Gear.Names(gear.KindMount))
	}
	return e.change(func(k *kept) error { k.Camera, k.Mount = camera, mount; return nil }, e.renew)
}

// SetZone says in which zone the camera's clock runs, as typed; "" for what the
// files say or this computer's.
func (e *Evening) SetZone(zone string) error {
	if err := e.still(); err != nil {
		return err
	}
	if zone != "" {
		if _, err := ReadZone(zone); err != nil {
			return err
		}
	}
	return e.change(func(k *kept) error {
		k.Zone = zone
		for _, p := range k.Photographs {
			if p.State == Ready || p.State == Aside {
				p.State = New
			}
		}
		return nil
	}, e.renew, e.lookAll)
}

// ReadZone reads a zone: a name such as Europe/Athens or an offset such as +02:00.
func ReadZone(s string) (*time.Location, error) {
	z, err := written.Zone(s)
	return z, advice.With(err, "a name such as Europe/Athens, or an offset such as +02:00")
}

// Follow says whether each new photograph is measured at once.
func (e *Evening) Follow(on bool) error {
	return e.change(func(k *kept) error { k.Following = on; return nil })
}
