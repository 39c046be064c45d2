package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"hearthline/internal/reply"
)

func TestReadTextsInOrder(t *testing.T) {
	in := `{"id":"1","text":"all 240 in","asked":{"kind":"feed_end","expected_ml":240,"container_ml":null}}

{"id":"2","text":"his lips look blue","asked":null}
{"id":"3","text":""}`
	var out, errs bytes.Buffer
	if code := run([]string{"read"}, &streams{in: strings.NewReader(in), out: &out, err: &errs}); code != 0 {
		t.Fatalf("status %d, %s", code, errs.String())
	}
	want := []string{reply.Auto, reply.Emergency, reply.Auto}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != len(want) {
		t.Fatalf("%d lines, want %d: %s", len(lines), len(want), out.String())
	}
	for i, line := range lines {
		var g reply.Reading
		if err := json.Unmarshal([]byte(line), &g); err != nil {
			t.Fatal(err)
		}
		if g.ID != string(rune('1'+i)) || g.Handling != want[i] {
			t.Errorf("line %d: %s", i+1, line)
		}
	}
}

func TestReadNamesTheBadLine(t *testing.T) {
	var out, errs bytes.Buffer
	in := "{\"id\":\"1\",\"text\":\"ok\"}\nnot json\n"
	if code := run([]string{"read"}, &streams{in: strings.NewReader(in), out: &out, err: &errs}); code != 1 {
		t.Fatalf("status %d, want 1", code)
	}
	if !strings.Contains(errs.String(), "line 2") || strings.Count(out.String(), "\n") != 1 {
		t.Errorf("out %q, err %q", out.String(), errs.String())
	}
}
