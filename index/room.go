package index

import (
	"slices"
	"sync"
	"sync/atomic"
)

// room bounds the memory of what bands have read and keep at hand. When it is used
// up, all of it is forgotten at once, and what is needed again is read again. Of
// patterns that is the part of a file that is mapped into memory: where they lie stays
// known, so that each is looked up, and held against its checksum, once.
type room struct {
	most    int64
	used    atomic.Int64
	round   atomic.Uint32 // counts how often all was forgotten, from 1 on
	mu      sync.Mutex
	readers []*Reader
}

const (
	// roomBytes is the room when a library does not say.
	roomBytes int64 = 256 << 20
	dotBytes        = 16
	// A band whose stars take more than mostStars, bytes, keeps them within the room;
	// those of the embedded list take 84 MB in all and stay.
	mostStars = 64 << 20
)

func newRoom(most int64) *room {
	m := &room{most: most}
	m.round.Store(1)
	return m
}

// let lets a band keep what it reads in the room.
func (m *room) let(r *Reader) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r.room, m.readers = m, append(m.readers, r)
}

// leave ends that.
func (m *room) leave(r *Reader) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.readers = slices.DeleteFunc(m.readers, func(o *Reader) bool { return o == r })
}

// take takes so many bytes of the room.
func (m *room) take(bytes int) {
	if m.used.Add(int64(bytes)) <= m.most {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.used.Load() > m.most { // no other one has emptied it meanwhile
		m.forget()
	}
}

// use takes the room of a slab, once in each round.
func (m *room) use(s *slab) {
	if now := m.round.Load(); s.round.Load() != now && s.round.Swap(now) != now {
		m.take(len(s.entries))
	}
}

// empty forgets what is in the room.
func (m *room) empty() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.forget()
}

func (m *room) forget() {
	m.used.Store(0)
	m.round.Add(1)
	for _, r := range m.readers {
		r.forget()
	}
}

// Forget gives the memory back that the patterns take which were read from this band,
// and from those that share its room. What is needed again is read again.
func (r *Reader) Forget() { r.room.empty() }

// starry reports whether the band's stars are too many to be kept beside the room.
func (r *Reader) starry() bool { return len(r.blocks)*blockSize*dotBytes > mostStars }

// forget forgets what was read.
func (r *Reader) forget() {
	if r.starry() {
		for i := range r.blocks {
			r.blocks[i].Store(nil)
		}
	}
	r.mapped.forget()
}
