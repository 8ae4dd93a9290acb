package session

import (
	"path/filepath"
	"strings"
)

// Names returns what files are called among each other: the name alone, and as
// many folders before it as tell it from the others.
func Names(paths []string) []string {
	parts := make([][]string, len(paths))
	take := make([]int, len(paths)) // how many parts of each are told
	for i, p := range paths {
		parts[i] = strings.Split(filepath.ToSlash(filepath.Clean(p)), "/")
		take[i] = 1
	}
	name := func(i int) string {
		p := parts[i]
		return strings.Join(p[max(0, len(p)-take[i]):], "/")
	}
	for again := true; again; {
		again = false
		told := map[string][]int{}
		for i := range paths {
			told[name(i)] = append(told[name(i)], i)
		}
		for _, same := range told {
			if len(same) < 2 {
				continue
			}
			for _, i := range same {
				if take[i] < len(parts[i]) {
					take[i]++
					again = true
				}
			}
		}
	}
	out := make([]string, len(paths))
	for i := range paths {
		out[i] = filepath.FromSlash(name(i))
	}
	return out
}

// tellApart names the frames so that no two are called the same.
func tellApart(frames []*Frame) {
	paths := make([]string, len(frames))
	for i, f := range frames {
		paths[i] = f.Path
	}
	for i, name := range Names(paths) {
		frames[i].Name = name
	}
}
