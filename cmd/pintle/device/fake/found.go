package fake

import (
	"context"
	"fmt"
	"net"
	"strings"
)

// discoveryPort and question are those of Alpaca's discovery (ASCOM Alpaca API
// reference, "Alpaca Discovery").
const (
	discoveryPort = 32227
	question      = "alpacadiscovery1"
)

// Found answers who looks for servers on this computer, and only there, with the port
// of one, until the context ends. It is an error when another server has that place.
func Found(ctx context.Context, port int) error { return found(ctx, port, discoveryPort) }

func found(ctx context.Context, port, at int) error {
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1), Port: at})
	if err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	go func() {
		defer stop()
		defer conn.Close()
		buf := make([]byte, 64)
		for {
			n, from, err := conn.ReadFromUDP(buf)
			if err != nil {
				return
			}
			if strings.HasPrefix(string(buf[:n]), question) {
				_, _ = conn.WriteToUDP(fmt.Appendf(nil, `{"AlpacaPort":%d}`, port), from)
			}
		}
	}()
	return nil
}
