package regimen

import (
	"fmt"
	"os"
	"testing"
	"time"
)

func TestFirst(t *testing.T) {
	src, _ := os.ReadFile("../../flows/limits.yaml")
	lim, err := ParseLimits("flows/limits.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	reg, _ := os.ReadFile("../../testdata/regimens/maple-17.yaml")
	p, ws, err := Parse("maple-17.yaml", reg, lim)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(ws)
	pl, err := Compile(p, lim)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC)
	for range 20 {
		pr, ok := pl.Next(at, Actual{})
		if !ok {
			t.Fatal("none")
		}
		fmt.Println(pr.At, pr.Day, pr.Asks)
		for _, a := range pr.Acts {
			fmt.Println("    ", a.Kind, a.Feed, a.Occurrence, a.At.Format("02 15:04"), a.ML)
		}
		at = pr.At
	}
	fmt.Printf("%+v\n", pl.FeedDay(at).Totals)
}

func BenchmarkNext(b *testing.B) {
	src, _ := os.ReadFile("../../flows/limits.yaml")
	lim, _ := ParseLimits("flows/limits.yaml", src)
	reg, _ := os.ReadFile("../../testdata/regimens/maple-17.yaml")
	p, _, _ := Parse("maple-17.yaml", reg, lim)
	pl, _ := Compile(p, lim)
	at := time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC)
	b.ReportAllocs()
	for b.Loop() {
		pr, _ := pl.Next(at, Actual{})
		at = pr.At
	}
}
