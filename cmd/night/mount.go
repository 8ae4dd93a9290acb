package night

import (
	"sync"
	"time"
)

// Mount is the mount of a night as it is turned and photographed live. It has no
// clock: every call that needs the time is told it. It may be used by several
// goroutines.
type Mount struct {
	night *Night

	mu       sync.Mutex
	pose     Pose
	tracking bool
	ran      time.Duration // of the motor, up to since
	since    time.Time
}

// Mount returns the night's mount as it stands for the first frame, its motor
// running from t on if the setup says so.
func (n *Night) Mount(t time.Time) *Mount {
	return &Mount{night: n, pose: n.spec.Frames[0].Pose, tracking: n.spec.Setup.Tracking, since: t}
}

// Pose returns how far everything has been moved.
func (m *Mount) Pose() Pose {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.pose
}

// Move moves everything on by p; a tip of the base replaces an earlier one. The
// error says which amount is impossible, and nothing is moved then.
func (m *Mount) Move(p Pose) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	q := m.pose
	q.Turn += p.Turn
	q.Alt += p.Alt
	q.Az += p.Az
	q.Dec += p.Dec
	q.Roll += p.Roll
	if p.Sink != 0 {
		q.Sink, q.SinkAz = p.Sink, p.SinkAz
	}
	if err := q.check(); err != nil {
		return err
	}
	m.pose = q
	return nil
}

// Tracking returns whether the motor runs.
func (m *Mount) Tracking() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.tracking
}

// Track starts or stops the motor at t.
func (m *Mount) Track(t time.Time, on bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.ran, m.since, m.tracking = m.runUntil(t), t, on
}

// runUntil returns how long the motor has been running at t.
func (m *Mount) runUntil(t time.Time) time.Duration {
	if !m.tracking {
		return m.ran
	}
	return m.ran + t.Sub(m.since)
}

// shot settles an exposure that starts at t.
func (m *Mount) shot(t time.Time) (shot, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.night.shot(t, m.pose, Motion{}, m.runUntil(t), m.tracking)
}

// Shoot takes a photograph whose exposure starts at t.
func (m *Mount) Shoot(t time.Time) (*Shot, error) {
	s, err := m.shot(t)
	if err != nil {
		return nil, err
	}
	return s.shoot(), nil
}

// Truth returns what is true of an exposure that starts at t, without taking it.
func (m *Mount) Truth(t time.Time) (Truth, error) {
	s, err := m.shot(t)
	if err != nil {
		return Truth{}, err
	}
	return s.truth(), nil
}
