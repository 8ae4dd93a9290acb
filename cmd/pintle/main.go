// Command pintle tells how far, and which way, the polar axis of an equatorial
// mount is off, from photographs of any patch of sky.
package main

import (
	"context"
	"os"
	"os/signal"

	"pintle/cmd/pintle/verb"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	status := verb.Run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}
