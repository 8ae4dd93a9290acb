// Command pintle tells how far, and which way, the polar axis of an equatorial
// mount is off, from photographs of any patch of sky.
package main

import (
	"os"

	"pintle/cmd/pintle/verb"
)

func main() { os.Exit(verb.Main(os.Args[1:], os.Stdout, os.Stderr)) }
