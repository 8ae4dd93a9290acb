package indi

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Device is what a server has.
type Device struct {
	Name, Driver  string
	Mount, Camera bool
	Connected     bool
}

// List asks a server for its devices.
func List(ctx context.Context, addr string, now func() time.Time) ([]Device, error) {
	c, err := dial(ctx, addr, "", now)
	if err != nil {
		return nil, err
	}
	defer c.close()
	// Drivers answer one by one; a pause means that all have.
	quiet := now().Add(700 * time.Millisecond)
	for now().Before(quiet) {
		before := c.count()
		c.until(ctx, 300*time.Millisecond, func() bool { return c.count() != before })
		if c.count() != before {
			quiet = now().Add(500 * time.Millisecond)
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err := c.failed(); err != nil {
			return nil, err
		}
	}
	return c.list(), nil
}

func (c *client) count() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.known
}

func (c *client) list() []Device {
	c.mu.Lock()
	defer c.mu.Unlock()
	var out []Device
	for name, d := range c.devices {
		dev := Device{Name: name, Connected: d["CONNECTION"].on("CONNECT")}
		if e := d["DRIVER_INFO"].element("DRIVER_EXEC"); e != nil {
			dev.Driver = e.value
		}
		if e := d["DRIVER_INFO"].element("DRIVER_INTERFACE"); e != nil {
			bits, _ := strconv.Atoi(e.value)
			dev.Mount, dev.Camera = bits&isTelescope != 0, bits&isCamera != 0
		}
		dev.Mount = dev.Mount || d["TELESCOPE_MOTION_WE"] != nil
		dev.Camera = dev.Camera || d["CCD_EXPOSURE"] != nil
		out = append(out, dev)
	}
	slices.SortFunc(out, func(a, b Device) int { return strings.Compare(a.Name, b.Name) })
	return out
}
