package link

import (
	"testing"

	"pintle/cmd/pintle/device"
)

func TestAddresses(t *testing.T) {
	for in, want := range map[string]Address{
		"indi://localhost/CCD%20Simulator":         {Scheme: INDI, Host: "localhost:7624", Name: "CCD Simulator"},
		"indi://scope.local:7000/a":                {Scheme: INDI, Host: "scope.local:7000", Name: "a"},
		"indi://[fe80::1]/Mount":                   {Scheme: INDI, Host: "[fe80::1]:7624", Name: "Mount"},
		"alpaca://192.168.1.20:11111/camera/0":     {Scheme: Alpaca, Host: "192.168.1.20:11111", Kind: "camera"},
		"alpaca://192.168.1.20:11111/telescope/3/": {Scheme: Alpaca, Host: "192.168.1.20:11111", Kind: "telescope", Number: 3},
	} {
		got, err := Parse(in)
		if err != nil || got != want {
			t.Errorf("%s: %+v, %v", in, got, err)
		}
		if again, err := Parse(got.String()); err != nil || again != got {
			t.Errorf("%s was written %s: %+v, %v", in, got, again, err)
		}
	}
	for _, in := range []string{"", "indi://", "indi://host", "indi://host/", "http://host/a", "alpaca://host/camera/0", "alpaca://host:1/dome/0",
		"alpaca://host:1/camera", "alpaca://host:1/camera/-1", "indi://host:99999/a", "indi://user@host/a", "indi://host/a?b=c", "indi://host:x/a", "localhost"} {
		if got, err := Parse(in); device.KindOf(err) != device.Unfit {
			t.Errorf("%q: %+v, %v", in, got, err)
		}
	}
}
