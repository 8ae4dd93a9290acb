package verb

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"pintle/cmd/pintle/advice"
)

// gearPath returns where the gear file is.
func (a *app) gearPath() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", advice.With(fmt.Errorf("no folder for settings: %w", err), "set HOME, or give everything on the command line")
	}
	return filepath.Join(dir, "pintle", "gear.toml"), nil
}

// journalPath returns where the journal is: in the user's data folder, by the
// customs of the system.
func (a *app) journalPath() (string, error) {
	if dir := a.getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "pintle", "journal.jsonl"), nil
	}
	if dir := a.getenv("LocalAppData"); runtime.GOOS == "windows" && dir != "" {
		return filepath.Join(dir, "pintle", "journal.jsonl"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", advice.With(fmt.Errorf("no folder for the journal: %w", err), "name a file with --journal FILE")
	}
	if runtime.GOOS == "darwin" {
		return filepath.Join(home, "Library", "Application Support", "pintle", "journal.jsonl"), nil
	}
	return filepath.Join(home, ".local", "share", "pintle", "journal.jsonl"), nil
}
