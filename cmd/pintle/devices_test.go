//go:build unix

package main

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/verb"
	"pintle/cmd/pintle/words"
)

// Who has no gear is told how to try it, and then the plain verb finds what answers.
func TestDevicesWithoutGear(t *testing.T) {
	if !strings.Contains(words.NoDevices, `"pintle demo --devices"`) || !strings.Contains(words.DevicesLong, `"pintle demo`) {
		t.Errorf("who finds nothing is not told what to try: %s", words.NoDevices)
	}
	c, _, _ := command(t, "demo", "--devices", "--south")
	out := &tail{}
	c.Stdout = out
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	eventually(t, 20*time.Second, func() bool {
		return strings.Contains(out.String(), "off by") || strings.Contains(out.String(), "Ctrl-C ends")
	})
	if strings.Contains(out.String(), "pintle devices --alpaca") {
		t.Skip("another server of this computer answers those who look for one")
	}
	host := regexp.MustCompile(`answer at (\S+)\.`).FindStringSubmatch(out.String())
	if host == nil {
		t.Fatalf("no address in %s", out)
	}
	var found, errs bytes.Buffer
	if status := verb.Run(t.Context(), []string{"devices"}, &found, &errs); status != 0 {
		t.Fatalf("devices: status %d, %s", status, errs.String())
	}
	for _, want := range []string{"alpaca://" + host[1] + "/camera/0", "alpaca://" + host[1] + "/telescope/0"} {
		if !strings.Contains(found.String(), want) {
			t.Errorf("no %s in\n%s", want, found.String())
		}
	}
}
