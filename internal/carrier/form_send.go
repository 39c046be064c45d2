package carrier

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// Idempotent is as configured.
func (f *Form) Idempotent() bool { return f.cfg.Out.Idempotent }

// Send hands one text over as a form. Answers are read as Gateway reads them,
// a 2xx further as the configuration's "says" has it.
func (f *Form) Send(ctx context.Context, t Text) error {
	out := &f.cfg.Out
	if checkID(string(t.ID)) != nil { // it may stand in a header
		return &Refusal{Why: "it has no usable id"}
	}
	from := t.From
	if from == "" {
		from = out.From
	}
	values := map[string]string{
		"id": string(t.ID), "from": from, "to": t.To, "to_digits": strings.TrimPrefix(t.To, "+"), "body": t.Body, "class": className(t.Class),
	}
	form := url.Values{}
	for name, value := range out.Fields {
		form.Set(name, fillTemplate(value, values))
	}
	return post(ctx, f.client, f.timeout, func(ctx context.Context) (*http.Request, error) {
		r, err := http.NewRequestWithContext(ctx, http.MethodPost, out.URL, strings.NewReader(form.Encode()))
		if err != nil {
			return nil, err
		}
		r.Header.Set("Content-Type", formType)
		for name, value := range out.Headers {
			r.Header.Set(name, fillTemplate(value, values))
		}
		if out.User != "" {
			r.SetBasicAuth(out.User, f.password)
		}
		if f.bearer != "" {
			r.Header.Set("Authorization", "Bearer "+f.bearer)
		}
		return r, nil
	}, f.meaning)
}

const formType = "application/x-www-form-urlencoded"

func (f *Form) meaning(answer *http.Response, said []byte) error {
	if err := meaning(answer, said); err != nil || f.cfg.Out.Says == nil {
		return err
	}
	s := f.cfg.Out.Says
	var fields map[string]any
	d := json.NewDecoder(strings.NewReader(string(said)))
	d.UseNumber()
	if d.Decode(&fields) != nil || fields[s.Field] == nil {
		return fmt.Errorf("the gateway answered %d, but not with the field that says what it did", answer.StatusCode)
	}
	value, why := fmt.Sprint(fields[s.Field]), "the gateway did not take it"
	if s.Why != "" && fields[s.Why] != nil {
		why += ": " + tame(fmt.Sprint(fields[s.Why]))
	}
	switch {
	case slices.Contains(s.Taken, value):
		return nil
	case slices.Contains(s.Busy, value):
		after, _ := retryAfter(answer.Header)
		return &Busy{After: after, Why: why}
	case slices.Contains(s.Refused, value):
		return &Refusal{Why: why}
	}
	return errors.New("the gateway's answer says neither that it took the text nor that it did not")
}
