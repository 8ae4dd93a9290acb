package flags

import (
	"errors"
	"fmt"

	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
)

// Page say who may see the page.
type Page struct {
	Off   bool
	Phone bool
	Port  int
	Renew bool
}

// Add adds them.
func (f *Page) Add(fs *pflag.FlagSet) {
	f.AddServed(fs)
	fs.BoolVar(&f.Off, "no-page", false, "do not serve the page")
}

// AddServed adds those of a page that is always served.
func (f *Page) AddServed(fs *pflag.FlagSet) {
	fs.BoolVar(&f.Phone, "phone", false, "let a phone in the same network open the page; prints its address and QR code")
	fs.IntVar(&f.Port, "port", 7410, "`port` of the page, the next free one when it is taken; 0 for any")
	fs.BoolVar(&f.Renew, "new-key", false, "give the page a new key; addresses handed out before are void")
}

// Check says whether they go together.
func (f *Page) Check() error {
	switch {
	case f.Port < 0 || f.Port > 65535:
		return advice.With(fmt.Errorf("--port %d is out of range 0 to 65535", f.Port), "leave it out")
	case f.Phone && f.Off:
		return advice.With(errors.New("--phone and --no-page contradict each other"), "give one of them")
	}
	return nil
}
