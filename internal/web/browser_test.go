package web

import (
	"context"
	"net"
	"testing"
)

// everyPage is every page that a person can see, by its name in files.
var everyPage = []struct{ name, path string }{
	{"start", "/"}, {"queue", "/queue"}, {"case", "/case/maple-17/maple-17.11.1"}, {"stranger", "/case/number-9f2c/number-9f2c.1.1"},
	{"households", "/households"}, {"household", "/household/maple-17"}, {"phones", "/phones"}, {"phone", "/phones/1"},
	{"gone", "/case/maple-17/nothing"},
}

// views are the sizes and schemes in which pages are looked at.
var views = map[string]struct {
	width, height int64
	dark          bool
}{
	"phone-light": {390, 844, false}, "phone-dark": {390, 844, true},
	"desk-light": {1280, 900, false}, "desk-dark": {1280, 900, true},
}

// serve lets a site answer on a real port and returns its address.
func serve(t testing.TB, s *Site) string {
	t.Helper()
	var lc net.ListenConfig
	ln, err := lc.Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatalf("listen: %v", err)
	}
	return serveOn(t, s, ln)
}

func serveOn(t testing.TB, s *Site, ln net.Listener) string {
	go func() {
		if err := s.Listener(ln); err != nil {
			t.Errorf("serve: %v", err)
		}
	}()
	return "http://" + ln.Addr().String()
}
