package verb

import (
	"os"
	"strings"

	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/words"
)

// loadGear reads the gear file; a user without one has no gear.
func (a *app) loadGear() (*gear.File, error) {
	path, err := a.gearPath()
	if err != nil {
		return nil, err
	}
	return gear.Load(path)
}

// changeGear changes the gear file, no other run of the program meanwhile.
func (a *app) changeGear(do func(*gear.File) error) (*gear.File, error) {
	path, err := a.gearPath()
	if err != nil {
		return nil, err
	}
	return gear.Change(path, do)
}

// knownGear is loadGear for verbs that can do without: a machine that has no
// folder for settings has no gear.
func (a *app) knownGear() (*gear.File, error) {
	if _, err := os.UserConfigDir(); err != nil {
		return &gear.File{}, nil
	}
	return a.loadGear()
}

// gearFor is loadGear for verbs that only would like it: they need it when they
// name something in it. Else a gear file that is no good is told, and they go on
// without.
func (a *app) gearFor(names ...string) (*gear.File, error) {
	f, err := a.knownGear()
	if err == nil || strings.Join(names, "") != "" {
		return f, err
	}
	a.Warn(words.WithoutGear(err))
	return &gear.File{}, nil
}
