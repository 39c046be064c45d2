package smpp

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"net/http"
	"net/http/httptest"
	"testing"
)

// The link over TLS, with the test certificate of net/http/httptest, which is
// for example.com; and not, where the certificate is another's.
func TestLinkOverTLS(t *testing.T) {
	web := httptest.NewTLSServer(http.NotFoundHandler()) // for its certificate only
	defer web.Close()
	pool := x509.NewCertPool()
	pool.AddCert(web.Certificate())
	l, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{Certificates: web.TLS.Certificates})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	c := newCentre()
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go c.serve(conn)
		}
	}()
	dial := func(ctx context.Context, network, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, network, l.Addr().String())
	}
	link, _, notes := startLink(t, "example.com:3550", func(cfg *Config) { cfg.TLS, cfg.Dial = &tls.Config{RootCAs: pool}, dial })
	await(t, notes, NoteBound)
	if err := link.Send(context.Background(), textTo("a.1.0", "x")); err != nil {
		t.Errorf("Send = %v", err)
	}
	other, _, notes := startLink(t, "elsewhere.example:3550", func(cfg *Config) { cfg.TLS, cfg.Dial = &tls.Config{RootCAs: pool}, dial })
	await(t, notes, NoteUnreachable)
	if other.Bound() {
		t.Error("bound to a centre with the certificate of another name")
	}
}
