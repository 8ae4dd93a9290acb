package main

import (
	"errors"
	"fmt"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// errSaid is the error of a verb that has already told what went wrong.
var errSaid = errors.New("already said")

// hinted is an error with advice.
type hinted struct {
	error
	advice string
}

func (h hinted) Unwrap() error { return h.error }

// hint adds advice to an error.
func hint(err error, advice string) error { return hinted{err, advice} }

// fail prints an error and its advice.
func (a *app) fail(err error) {
	if errors.Is(err, errSaid) {
		return
	}
	fmt.Fprintf(a.err, "pintle: %v\n", err)
	var h hinted
	if errors.As(err, &h) {
		fmt.Fprintf(a.err, "  try: %s\n", h.advice)
	}
}

// atLeast refuses fewer than n arguments.
func atLeast(n int, advice string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < n {
			return hint(fmt.Errorf("%s got %d of at least %d photographs", cmd.CommandPath(), len(args), n), advice)
		}
		return nil
	}
}

// flagError words what is wrong with a flag without the words of the number
// parser.
func flagError(cmd *cobra.Command, err error) error {
	var bad *pflag.InvalidValueError
	if !errors.As(err, &bad) {
		return err
	}
	f := bad.GetFlag()
	if f.Value.Type() == "duration" {
		return hint(fmt.Errorf("--%s %q is not a time with its unit", f.Name, bad.GetValue()), "such as 90s or 10m")
	}
	var number *strconv.NumError
	if !errors.As(err, &number) {
		return fmt.Errorf("--%s: %w", f.Name, errors.Unwrap(bad))
	}
	kind := map[string]string{"int": "a whole number", "bool": "true or false"}[f.Value.Type()]
	if kind == "" {
		kind = "a number"
	}
	if errors.Is(number, strconv.ErrRange) {
		kind = "a number of that size"
	}
	return hint(fmt.Errorf("--%s %q is not %s", f.Name, bad.GetValue(), kind), cmd.CommandPath()+" --help")
}
