package web

import (
	"compress/gzip"
	"io"
	"net/http"
	"slices"
	"testing"
	"time"
)

// BenchmarkQueue loads the queue's page over a real connection with 1,000 open
// cases: as it is first shown, and with all of them. It reports the time to the
// first byte and the size on the wire.
func BenchmarkQueue(b *testing.B) {
	d := newDesk()
	for i := range 998 {
		d.openCase(maple, 100+i, time.Duration(i)*time.Minute, "gave 150 then he threw up twice and his belly is hard", "threw up twice")
	}
	s := newSite(b, testConfig(d))
	base, cookie := serve(b, s), signedIn(b, s, "nora").cookie
	for name, path := range map[string]string{"first 100": "/queue", "all 1000": "/queue?show=1000"} {
		b.Run(name, func(b *testing.B) {
			var wire, plain int64
			var first time.Duration
			for b.Loop() {
				r, err := http.NewRequestWithContext(b.Context(), "GET", base+path, nil)
				if err != nil {
					b.Fatal(err)
				}
				r.Header.Set("Cookie", cookieName+"="+cookie)
				r.Header.Set("Accept-Encoding", "gzip")
				began := time.Now()
				res, err := http.DefaultTransport.RoundTrip(r)
				if err != nil {
					b.Fatal(err)
				}
				one := make([]byte, 1)
				if _, err := io.ReadFull(res.Body, one); err != nil {
					b.Fatal(err)
				}
				first += time.Since(began)
				count := &counter{r: res.Body, n: 1}
				z, err := gzip.NewReader(io.MultiReader(&oneByte{b: one}, count))
				if err != nil {
					b.Fatal(err)
				}
				if plain, err = io.Copy(io.Discard, z); err != nil {
					b.Fatal(err)
				}
				wire = count.n
				if err := res.Body.Close(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(first.Microseconds())/float64(b.N)/1000, "first-byte-ms")
			b.ReportMetric(float64(wire)/1000, "wire-KB")
			b.ReportMetric(float64(plain)/1000, "page-KB")
		})
	}
}

type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

type oneByte struct{ b []byte }

func (o *oneByte) Read(p []byte) (int, error) {
	if len(o.b) == 0 {
		return 0, io.EOF
	}
	n := copy(p, o.b)
	o.b = o.b[n:]
	return n, nil
}

// BenchmarkNews measures from a change in the store to its arrival at fifty
// open pages, over real connections; the pulse is read every 250 ms.
func BenchmarkNews(b *testing.B) {
	d := newDesk()
	cfg := testConfig(d)
	s := newSite(b, cfg)
	base, cookie := serve(b, s), signedIn(b, s, "nora").cookie
	var pages []*stream
	for range 50 {
		p := listen(b, base, cookie)
		p.await("change")
		pages = append(pages, p)
	}
	var took []time.Duration
	for b.Loop() {
		began := time.Now()
		d.change(func(*fakeDesk) {})
		for _, p := range pages {
			p.await("change")
			took = append(took, time.Since(began))
		}
	}
	slices.Sort(took)
	ms := func(share int) float64 { return float64(took[(len(took)-1)*share/100].Microseconds()) / 1000 }
	b.ReportMetric(ms(50), "p50-ms")
	b.ReportMetric(ms(99), "p99-ms")
}
