package alpaca

import (
	"context"
	"encoding/json"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	// discoveryPort is where servers listen for who looks for them.
	discoveryPort = 32227
	question      = "alpacadiscovery1"
	maxServers    = 64
)

// Discover asks on all local networks and on this computer, and returns the
// addresses of the servers that answer within a time.
func Discover(ctx context.Context, wait time.Duration) ([]string, error) {
	return discover(ctx, wait, targets())
}

func discover(ctx context.Context, wait time.Duration, to []*net.UDPAddr) ([]string, error) {
	conn, err := net.ListenUDP("udp4", nil)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { conn.Close() })()
	for _, a := range to {
		conn.WriteToUDP([]byte(question), a) // a network that refuses has no servers
	}
	conn.SetReadDeadline(time.Now().Add(wait))
	var found []string
	buf := make([]byte, 2048)
	for len(found) < maxServers {
		n, from, err := conn.ReadFromUDP(buf)
		if err != nil {
			break
		}
		if port, ok := answer(buf[:n]); ok {
			if host := net.JoinHostPort(from.IP.String(), strconv.Itoa(port)); !slices.Contains(found, host) {
				found = append(found, host)
			}
		}
	}
	slices.Sort(found)
	return found, ctx.Err()
}

// answer reads {"AlpacaPort": N}; names in any case.
func answer(b []byte) (port int, ok bool) {
	var a struct{ AlpacaPort int }
	err := json.Unmarshal(b, &a)
	return a.AlpacaPort, err == nil && a.AlpacaPort > 0 && a.AlpacaPort < 65536
}

// targets returns the broadcast addresses of this computer's networks.
func targets() []*net.UDPAddr {
	list := []*net.UDPAddr{{IP: net.IPv4(127, 0, 0, 1), Port: discoveryPort}}
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		return list
	}
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.To4() == nil || n.IP.IsLoopback() || len(n.Mask) != 4 {
			continue
		}
		ip := slices.Clone(n.IP.To4())
		for i := range ip {
			ip[i] |= ^n.Mask[i]
		}
		list = append(list, &net.UDPAddr{IP: ip, Port: discoveryPort})
	}
	return list
}

// Device is what a server has.
type Device struct {
	Name          string
	Kind          string // camera, telescope
	Number        int
	Mount, Camera bool
}

// List asks a server for its cameras and mounts.
func List(ctx context.Context, host string, now func() time.Time) ([]Device, error) {
	e := newEndpoint(host, "server", 0, now)
	ctx, cancel := context.WithTimeout(ctx, 2*callTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+host+"/management/v1/configureddevices?"+e.ids(nil).Encode(), nil)
	if err != nil {
		return nil, err
	}
	var all []struct {
		DeviceName, DeviceType string
		DeviceNumber           int
	}
	if err := e.call(r, "configureddevices", &all); err != nil {
		return nil, err
	}
	var list []Device
	for _, d := range all {
		kind := strings.ToLower(clean(d.DeviceType, 40))
		if (kind == "telescope" || kind == "camera") && len(list) < maxServers && d.DeviceNumber >= 0 {
			list = append(list, Device{Name: clean(d.DeviceName, 60), Kind: kind, Number: d.DeviceNumber, Mount: kind == "telescope", Camera: kind == "camera"})
		}
	}
	return list, nil
}
