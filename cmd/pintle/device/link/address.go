// Package link finds and opens cameras and mounts by their address, whatever
// standard they speak.
package link

import (
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/indi"
)

// The schemes of addresses.
const (
	INDI   = "indi"
	Alpaca = "alpaca"
)

// Address is where a device is: indi://host[:port]/Device%20Name or
// alpaca://host:port/camera/0.
type Address struct {
	Scheme string
	Host   string // with port
	Name   string // INDI: of the device
	Kind   string // Alpaca: camera or telescope
	Number int    // Alpaca
}

const advice = "write it like indi://localhost/CCD%20Simulator or alpaca://192.168.1.20:11111/camera/0; pintle devices lists what there is"

// Parse reads an address.
func Parse(s string) (Address, error) {
	bad := func(why string) (Address, error) {
		return Address{}, device.NewFault(device.Unfit, advice, "address %.200q: %s", s, why)
	}
	u, err := url.Parse(s)
	if err != nil || u.Host == "" || u.Hostname() == "" {
		return bad("no address of a device")
	}
	if u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return bad("there is more in it than scheme, host and device")
	}
	if u.Port() != "" {
		if n, err := strconv.Atoi(u.Port()); err != nil || n < 1 || n > 65535 {
			return bad("port " + u.Port() + " is outside 1 to 65535")
		}
	}
	path := strings.Trim(u.Path, "/")
	switch u.Scheme {
	case INDI:
		if path == "" || len(path) > 200 {
			return bad("the device's name is missing or too long")
		}
		return Address{Scheme: INDI, Host: withPort(u, indi.Port), Name: path}, nil
	case Alpaca:
		kind, number, _ := strings.Cut(path, "/")
		n, err := strconv.Atoi(number)
		if kind != "camera" && kind != "telescope" || err != nil || n < 0 || n > 1e6 {
			return bad("after the host comes camera/0 or telescope/0")
		}
		if u.Port() == "" {
			return bad("the port is missing")
		}
		return Address{Scheme: Alpaca, Host: u.Host, Kind: kind, Number: n}, nil
	}
	return bad("it begins with neither indi:// nor alpaca://")
}

func withPort(u *url.URL, port string) string {
	if u.Port() != "" {
		port = u.Port()
	}
	return net.JoinHostPort(u.Hostname(), port)
}

// String writes the address as Parse reads it.
func (a Address) String() string {
	u := url.URL{Scheme: a.Scheme, Host: a.Host, Path: "/" + a.Name}
	if a.Scheme == Alpaca {
		u.Path = fmt.Sprintf("/%s/%d", a.Kind, a.Number)
	}
	if a.Scheme == INDI {
		u.Host = strings.TrimSuffix(a.Host, ":"+indi.Port)
	}
	return u.String()
}
