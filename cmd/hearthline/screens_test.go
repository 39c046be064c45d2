package main

import (
	"context"
	"flag"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hearthline/internal/testneed"
	"hearthline/internal/web/browsertest"
)

var screens = flag.Bool("screens", false, "rewrite the README's screenshots in testdata/screens")

// TestDemoShowsItsDay runs the demo as a person would see it, in a browser:
// a text typed on a pretend phone is a case on the queue. With -screens it
// takes the README's pictures on the way.
func TestDemoShowsItsDay(t *testing.T) {
	ctx := browsertest.Start(t)
	run, stop := context.WithCancel(context.Background())
	defer stop()
	// 2:30 in the morning of the second day: a night's feed is running.
	d, err := newDemo(run, &demoCmd{Memory: true, Seed: 1, Start: time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC), Ahead: 20*time.Hour + 30*time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- d.serve(run, ln) }()
	at := "http://" + ln.Addr().String()
	shot := func(name string, width, height int64) {
		t.Helper()
		if !*screens {
			return
		}
		file := filepath.Join(testneed.Root(t), "testdata", "screens", name+".png")
		if err := browsertest.View(ctx, width, height, false); err != nil {
			t.Fatal(err)
		}
		if err := browsertest.Screenshot(ctx, file, width, height, false); err != nil {
			t.Fatal(err)
		}
	}
	if err := (&demoPhones{d}).Type(run, "+12025550117", "gave 150 then he threw up twice"); err != nil {
		t.Fatal(err)
	}
	must := func(what string, actions ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, actions...); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	must("the queue", chromedp.Navigate(at+"/queue"), chromedp.WaitVisible(chromedp.CSS("li.case mark")))
	if got := text(t, ctx, "main"); !strings.Contains(got, "threw up twice") {
		t.Errorf("the queue does not show the text: %s", got)
	}
	shot("queue", 480, 800)
	must("the case", chromedp.Click(chromedp.CSS(`li.case a[href*="/case/maple-17/"]`)), chromedp.WaitVisible(chromedp.CSS("#act-claim")))
	shot("case", 480, 800)
	must("the households", chromedp.Navigate(at+"/households"), chromedp.WaitVisible(chromedp.CSS(".columns")))
	shot("households", 480, 800)
	must("a phone", chromedp.Navigate(at+"/phones/1"), chromedp.WaitVisible(chromedp.CSS("main form")))
	if got := text(t, ctx, "main"); !strings.Contains(got, "A nurse has your text") {
		t.Errorf("the phone does not show the answer: %s", got)
	}
	shot("phone", 480, 800)
	stop()
	if err := <-done; err != nil {
		t.Errorf("the demo ended with %v", err)
	}
}
