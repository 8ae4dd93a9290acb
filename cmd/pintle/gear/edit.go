package gear

import "strings"

// The edits below work on whole lines and may fail on unusual but legal TOML;
// save compares the meaning of their result before anything is written.

// joinText puts a section behind text, one empty line between.
func joinText(text, section string) string {
	text = strings.TrimRight(text, " \t\r\n")
	if text == "" {
		return section
	}
	return text + "\n\n" + section
}

// insertAfter puts line behind the n-th line of text, n from 1.
func insertAfter(text string, n int, line string) string {
	lines := strings.SplitAfter(text, "\n")
	if !strings.HasSuffix(lines[n-1], "\n") {
		lines[n-1] += "\n"
	}
	return strings.Join(lines[:n], "") + line + strings.Join(lines[n:], "")
}

// replaceLine replaces the line that defines key, keeping a comment at its
// end; ok is false when there is none.
func (f *File) replaceLine(key []string, line string) (text string, ok bool) {
	n := lineOf(f.text, key)
	if n == 0 {
		return f.text, false
	}
	lines := strings.SplitAfter(f.text, "\n")
	if i := strings.LastIndex(lines[n-1], " #"); i >= 0 && !strings.ContainsAny(lines[n-1][i:], `"'`) {
		line = strings.TrimSuffix(line, "\n") + " " + lines[n-1][i:]
	}
	lines[n-1] = line
	return strings.Join(lines, ""), true
}

// updateTable rewrites the lines of a table key by key, so that its comments
// stay: body holds the new "key = value" lines, and of the known keys those
// that it lacks are taken out.
func (f *File) updateTable(kind, name, body string) string {
	g := File{text: f.text}
	at := lineOf(g.text, []string{kind, name})
	if at == 0 {
		return f.text
	}
	now := map[string]string{}
	for line := range strings.Lines(body) {
		key, _, _ := strings.Cut(line, " = ")
		now[key] = line
	}
	for _, key := range keys[kind] {
		path := []string{kind, name, key}
		line, wanted := now[key]
		n := lineOf(g.text, path)
		switch {
		case wanted && n > 0:
			g.text, _ = g.replaceLine(path, line)
		case wanted:
			g.text = insertAfter(g.text, at, line)
		case n > 0:
			lines := strings.SplitAfter(g.text, "\n")
			g.text = strings.Join(append(lines[:n-1:n-1], lines[n:]...), "")
			continue
		default:
			continue
		}
		if at = lineOf(g.text, path); at == 0 { // unusual TOML, now broken: give up
			return f.text
		}
	}
	return g.text
}
