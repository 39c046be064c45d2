package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hearthline/internal/household"
	"hearthline/internal/web/browsertest"
)

// TestOneNight is the main job on real parts: the real binary, a real
// redis-server, a signed gateway and a real browser. A caregiver's text becomes
// a case on the nurse's open page within two seconds, she claims it, writes
// back, closes it, and her words leave through the gateway.
func TestOneNight(t *testing.T) {
	ctx := browsertest.Start(t)
	s := newService(t, "")
	s.up(s.start())
	must := func(what string, actions ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, actions...); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	must("sign in",
		chromedp.Navigate("http://"+s.pages+"/queue"),
		chromedp.SetValue(chromedp.CSS("#name"), "Nora"),
		chromedp.SetValue(chromedp.CSS("#token"), testToken),
		chromedp.Submit(chromedp.CSS("#token")),
		chromedp.WaitVisible(chromedp.CSS("#queue-count")))

	posted := time.Now()
	if status := s.post("night-1", fromAna, "gave 150 then he threw up twice"); status != 200 {
		t.Fatalf("the hook answered %d", status)
	}
	must("a case on the open page", chromedp.WaitVisible(chromedp.CSS("li.case mark")))
	took := time.Since(posted)
	t.Logf("from posting the text to its case on the open page: %s", took.Round(time.Millisecond))
	if took > 2*time.Second {
		t.Errorf("the case was on the page after %s, want within 2 s", took)
	}
	row := text(t, ctx, "li.case")
	for _, want := range []string{"threw up twice", "maple-17"} {
		if !strings.Contains(row, want) {
			t.Errorf("the row does not show %q: %s", want, row)
		}
	}
	if status := s.post("night-1", fromAna, "gave 150 then he threw up twice"); status != 200 {
		t.Errorf("the same text again was answered %d, want 200", status)
	}

	must("claim", chromedp.Click(chromedp.CSS("li.case h2 a")), chromedp.WaitVisible(chromedp.CSS("#act-claim")),
		chromedp.Click(chromedp.CSS("#act-claim")), chromedp.WaitVisible(chromedp.CSS("#act-release")))
	const words = "Keep the feed off. I will ring you in five minutes."
	must("write back", chromedp.Click(chromedp.CSS("#write summary")),
		chromedp.SetValue(chromedp.CSS("#body"), words), chromedp.Click(chromedp.CSS("#write button.main")),
		chromedp.WaitVisible(chromedp.CSS("#act-release")))
	waitFor(t, "her words at the gateway", func() bool {
		for _, body := range s.gateway.got(fromAna) {
			if strings.Contains(body, words) {
				return true
			}
		}
		return false
	})
	must("close", chromedp.Click(chromedp.CSS("#close summary")),
		chromedp.SetValue(chromedp.CSS("#disposition"), "disposition.advised"),
		chromedp.SetValue(chromedp.CSS("#note"), "two small vomits, feed off until morning"),
		chromedp.Click(chromedp.CSS("#close button.main")), chromedp.WaitNotPresent(chromedp.CSS("#close")))
	must("the queue is empty again", chromedp.Navigate("http://"+s.pages+"/queue"), chromedp.WaitVisible(chromedp.CSS("#queue-count")))
	if left := text(t, ctx, "main"); strings.Contains(left, "threw up") {
		t.Errorf("the closed case is still on the queue: %s", left)
	}

	got := s.gateway.got(fromAna)
	if len(got) != 3 || !strings.Contains(got[0], "A nurse has your text") || !strings.Contains(got[1], "?") {
		t.Errorf("the caregiver got %d texts, want the answer to her trouble, one question, and the nurse's words: %q", len(got), got)
	}
	state, err := openBooks(t, s).Household(context.Background(), "maple-17")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(state.Cases); n != 1 || state.Cases[0].Status != household.CaseClosed || state.Cases[0].Disposition != "disposition.advised" {
		t.Errorf("cases kept = %+v, want the one, closed", state.Cases)
	}
	must("the coordinator's page", chromedp.Navigate("http://"+s.pages+"/households"), chromedp.WaitVisible(chromedp.CSS("table")))
	if all := text(t, ctx, "main"); !strings.Contains(all, "maple-17") {
		t.Errorf("the households page does not show maple-17: %s", all)
	}
}

func text(t *testing.T, ctx context.Context, selector string) string {
	t.Helper()
	out, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS(selector)))
	if err != nil {
		t.Fatalf("text of %s: %v", selector, err)
	}
	return out
}
