package flags

import "github.com/spf13/pflag"

// Index says where the star index is.
type Index struct {
	Folder string // "" for the user's
}

// Add adds it.
func (f *Index) Add(fs *pflag.FlagSet) {
	fs.StringVar(&f.Folder, "index", "", "folder of the star index (default: pintle/index in the user's cache folder)")
}

// Journal names the journal.
type Journal struct {
	File string // "" for the user's
}

// Add adds it.
func (f *Journal) Add(fs *pflag.FlagSet) {
	fs.StringVar(&f.File, "journal", "", "the journal `file` (default: the user's)")
}

// Record says what becomes of a measurement beyond being shown.
type Record struct {
	Journal
	None bool   // it is not kept
	Note string // to keep with it
}

// Add adds them.
func (f *Record) Add(fs *pflag.FlagSet) {
	f.Journal.Add(fs)
	fs.BoolVar(&f.None, "no-journal", false, "keep nothing in the journal")
	fs.StringVar(&f.Note, "note", "", "a `remark` to keep with the measurement")
}
