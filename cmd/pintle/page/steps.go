package page

import (
	"bytes"
	"net/http"
	"slices"
)

// adjustPath is where the page of the adjustment is in an evening.
const adjustPath = "/adjust"

// eveningFiles are those that only an evening has.
var eveningFiles = map[string]string{
	"evening.css":          css,
	"evening.js":           javascript,
	"evening-kit.js":       javascript,
	"evening-day.js":       javascript,
	"evening-sky.js":       javascript,
	"evening-photos.js":    javascript,
	"evening-enough.js":    javascript,
	"evening-after.js":     javascript,
	"evening-steps.js":     javascript,
	"manifest.webmanifest": "application/manifest+json",
}

// withEvening puts the steps of the evening and its API around the page of the
// adjustment, which becomes one of them.
func (s *Server) withEvening(page *http.ServeMux) http.Handler {
	m := http.NewServeMux()
	c := newControls(s.o.Now, s.touch)
	a := &api{e: s.o.Evening, controls: c, ticket: s.Ticket}
	if s.o.Phone {
		a.links = s.links
	}
	a.mount(m)
	m.Handle("/", page)
	serveFile(m, "GET /{$}", html, withHands(read("evening.html"), read("page.html")))
	serveFile(m, "GET "+adjustPath, html, withSteps(read("page.html"), read("evening.html")))
	serveFiles(m, eveningFiles)
	return c.wrap(m)
}

// serveFiles serves files under their names.
func serveFiles(m *http.ServeMux, kinds map[string]string) {
	for name, kind := range kinds {
		serveFile(m, "GET /"+name, kind, read(name))
	}
}

func serveFile(m *http.ServeMux, path, kind string, data []byte) {
	m.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", kind)
		_, _ = w.Write(data)
	})
}

func read(name string) []byte {
	data, err := files.ReadFile("files/" + name)
	if err != nil {
		panic(err) // built without its files
	}
	return data
}

// withSteps puts the row of steps, as the evening's page has it, into the page of
// the adjustment, so that there is one text of each.
func withSteps(page, evening []byte) []byte {
	nav := piece(evening, "<nav", "</nav>")
	page = bytes.Replace(page, []byte("</head>"), []byte("<link rel=\"stylesheet\" href=\"evening.css\">\n<script type=\"module\" src=\"evening-steps.js\"></script>\n</head>"), 1)
	page = bytes.Replace(page, []byte("<body "), []byte(`<body class="evening" `), 1)
	return bytes.Replace(page, []byte("<main>"), append(nav, []byte("\n<main>")...), 1)
}

// withHands puts what camera and mount are at, and Stop, as the page of the adjustment
// has them, into the evening's page.
func withHands(evening, page []byte) []byte {
	panel, stop := piece(page, `<section id="hands"`, "</section>"), piece(page, `<button id="stop"`, "</button>")
	evening = bytes.Replace(evening, []byte("<div id=\"watching\""), append(panel, []byte("\n<div id=\"watching\"")...), 1)
	return bytes.Replace(evening, []byte("</main>"), append([]byte("</main>\n"), stop...), 1)
}

// piece is a part of a page, from one text to the next other one.
func piece(page []byte, from, to string) []byte {
	_, after, ok := bytes.Cut(page, []byte(from))
	inside, _, ok2 := bytes.Cut(after, []byte(to))
	if !ok || !ok2 {
		panic("the page has no " + from)
	}
	return slices.Concat([]byte(from), inside, []byte(to))
}

// SetEvening says that the evening is another one: version as told by it.
func (s *Server) SetEvening(version uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.evening = max(s.evening+1, version)
	s.changed()
}

// touch has every viewer look at the evening anew.
func (s *Server) touch() { s.SetEvening(0) }
