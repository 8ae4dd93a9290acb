// Package advice gives an error a line of what to try. It knows nothing of where
// the line is shown: verbs and the packages below them use it alike.
package advice

import "errors"

// advised is an error with advice. Other errors may give advice too, by a method
// of the same name.
type advised struct {
	Err    error
	advice string
}

func (e *advised) Error() string { return e.Err.Error() }

func (e *advised) Unwrap() error { return e.Err }

// Advice is what to try, "" when nothing is known.
func (e *advised) Advice() string { return e.advice }

// With adds advice to an error; nil stays nil.
func With(err error, advice string) error {
	if err == nil {
		return nil
	}
	return &advised{err, advice}
}

// Of returns the advice that goes with an error, that of the outermost one that
// has any; "" when none has.
func Of(err error) string {
	var a interface {
		error
		Advice() string
	}
	if errors.As(err, &a) {
		return a.Advice()
	}
	return ""
}
