package terminal

import (
	"strings"
	"time"

	"pintle/cmd/pintle/words"
)

// Device is a camera or a mount that answers.
type Device struct {
	Address string `json:"address"`
	Name    string `json:"name"`
	Camera  bool   `json:"camera"`
	Mount   bool   `json:"mount"`
}

// Devices lists what answers.
func (t *Terminal) Devices(list []Device) {
	if len(list) == 0 {
		for l := range strings.SplitSeq(words.NoDevices, "\n") {
			t.line("%s", l)
		}
	}
	for _, d := range list {
		t.line("%-7s %s  (%s)", words.DeviceKinds(d.Camera, d.Mount), d.Address, d.Name)
	}
}

// Shot tells of a photograph that was taken.
func (t *Terminal) Shot(path string, exposure, apart time.Duration, corrected bool) {
	t.line("%s", words.ShotKept(path, exposure, apart, corrected))
}

// Note says a sentence beside the answer.
func (t *Terminal) Note(s string) { t.note("%s", s) }
