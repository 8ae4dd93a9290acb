package session

// mostSeen is how many pictures are remembered to tell one that comes again.
const mostSeen = 4096

// seen remembers pictures by their fingerprint.
type seen struct {
	name  map[uint64]string
	order []uint64
}

// before returns the name under which a picture came before; a new one is
// remembered.
func (s *seen) before(f *Frame) (name string, twice bool) {
	if f.Read == nil || f.Read.Hash == 0 {
		return "", false
	}
	h := f.Read.Hash
	if name, twice = s.name[h]; twice {
		return name, true
	}
	if s.name == nil {
		s.name = map[uint64]string{}
	}
	if len(s.order) == mostSeen {
		delete(s.name, s.order[0])
		s.order = s.order[1:]
	}
	s.name[h] = f.Name
	s.order = append(s.order, h)
	return "", false
}
