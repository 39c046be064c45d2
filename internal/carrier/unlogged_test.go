package carrier

import (
	"fmt"
	"log/slog"
	"strings"
	"testing"
)

func TestTextsDoNotPrint(t *testing.T) {
	var out strings.Builder
	text := Text{ID: "m.1.0", From: "+12025550100", To: "+12025550143", Body: "he threw up"}
	in := Incoming{ID: "x1", Kind: KindText, From: "+12025550143", To: "+12025550100", Body: "he threw up"}
	log := slog.New(slog.NewJSONHandler(&out, nil))
	for _, v := range []any{text, &text, []Text{text}, struct{ T Text }{text}, in, &in, []Incoming{in}, struct{ In Incoming }{in}, fmt.Errorf("send %v", text)} {
		for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x"} {
			fmt.Fprintf(&out, verb+"\n", v)
		}
	}
	log.Info("x", "text", text, "in", in)
	if s := out.String(); strings.Contains(s, "2025550") || strings.Contains(s, "threw") {
		t.Errorf("a number or words were written:\n%s", s)
	}
	if !strings.Contains(out.String(), "text m.1.0 (trouble)") || !strings.Contains(out.String(), "incoming text x1") {
		t.Errorf("what they are was not written:\n%s", out.String())
	}
}
