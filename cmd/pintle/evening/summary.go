package evening

import (
	"path/filepath"
	"slices"
	"time"

	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/words"
)

// API is the version of what faces are given as JSON. It is raised when a field
// changes its meaning or goes; new fields may come at any time.
const API = 1

// Summary is what there is to say of the evening at one moment.
type Summary struct {
	API     int       `json:"api"`
	Version uint64    `json:"version"` // another one means that something changed
	Folder  string    `json:"folder"`  // its last part
	Now     time.Time `json:"now"`     // the computer's clock

	Place     *Place   `json:"place"`      // null while nobody said where
	PlaceTold bool     `json:"place_told"` // said on this evening, not by gear or photographs
	PlaceBack []string `json:"place_back"` // the place read back, sentences

	Camera   string   `json:"camera"` // chosen, "" the gear file's default
	Mount    string   `json:"mount"`
	Cameras  []string `json:"cameras"`
	Mounts   []string `json:"mounts"`
	Sites    []string `json:"sites"`
	Zone     string   `json:"zone"`       // of the camera's clock, "" as files and computer say
	ZoneHere string   `json:"zone_here"`  // the computer's
	Field    string   `json:"field_seen"` // degrees, of the newest recognised photograph

	Blocks string       `json:"blocks"` // what blocks the sky, a line for each stretch
	Drawn  [][2]float64 `json:"drawn"`  // the line it was drawn with: azimuth, altitude, degrees

	Learnt *Learnt `json:"learnt"` // what a photograph shows of that, null for nothing new

	Following   bool          `json:"following"`
	Watching    string        `json:"watching"` // the last part of the folder that is watched
	Shooting    *Shooting     `json:"shooting"` // null when the chosen camera cannot be commanded
	Photographs []*Photograph `json:"photographs"`
	Offered     []string      `json:"offered"`
	Working     string        `json:"working"`
	Trouble     *Trouble      `json:"trouble"`
	Measured    bool          `json:"measured"` // there is an answer
}

// Summary returns what there is to say now. It shares nothing that changes later.
func (e *Evening) Summary() Summary {
	g, gearErr := gear.Load(e.c.Gear)
	if g == nil {
		g = &gear.File{}
	}
	p, ok := e.homeBy(g.Gear)
	field, _, _ := e.fieldSeen()
	shooting, learnt := e.shooting(g.Gear), e.learnt()
	e.mu.Lock()
	defer e.mu.Unlock()
	k := &e.kept
	s := Summary{API: API, Version: e.version, Folder: filepath.Base(e.c.Folder), Now: e.c.Now(), PlaceTold: k.Place != nil, PlaceBack: []string{},
		Camera: k.Camera, Mount: k.Mount, Cameras: some(g.Gear.Names(gear.KindCamera)), Mounts: some(g.Gear.Names(gear.KindMount)),
		Sites: some(g.Gear.Names(gear.KindSite)), Zone: k.Zone, ZoneHere: e.c.Now().Format("MST -07:00"), Field: field,
		Blocks: k.Blocks, Drawn: slices.Clone(k.Drawn), Learnt: learnt, Following: k.Following, Shooting: shooting, Photographs: []*Photograph{}, Offered: offered(k.Photographs),
		Working: e.working, Trouble: e.trouble, Measured: e.state.Answer != nil}
	if ok {
		s.Place, s.PlaceBack = &p, words.PlaceBack(p.Site(), s.Now)
	}
	if e.c.Watch != "" {
		s.Watching = filepath.Base(e.c.Watch)
	}
	if s.Trouble == nil {
		s.Trouble = troubleOf(gearErr)
	}
	for _, p := range k.Photographs {
		x := *p
		if !p.Time.IsZero() {
			x.Clock = words.Clock(p.Time, e.state.Setting.Zone)
		}
		s.Photographs = append(s.Photographs, &x)
	}
	slices.SortStableFunc(s.Photographs, func(a, b *Photograph) int { return byTime(b, a) })
	if s.Drawn == nil {
		s.Drawn = [][2]float64{}
	}
	return s
}

func some(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}
