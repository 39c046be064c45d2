package carrier

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"hearthline/internal/journal"
)

// Bounds of what is read of an answer: so many bytes, for so long. The status
// line has said what matters by then; the rest is a courtesy.
const (
	answerMost = 4 << 10
	answerWait = 250 * time.Millisecond
)

// retryMost bounds what a Retry-After may ask for: an hour of a gateway's
// silence is news for a person, a year is a mistake.
const retryMost = time.Hour

func className(c journal.Class) string {
	switch c {
	case journal.ClassTrouble:
		return "trouble"
	case journal.ClassAnswer:
		return "answer"
	}
	return "reminder"
}

// post makes one request and turns what comes of it into the errors of Send.
func post(ctx context.Context, client *http.Client, timeout time.Duration, request func(context.Context) (*http.Request, error),
	meaning func(answer *http.Response, said []byte) error) error {
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	r, err := request(ctx)
	if err != nil {
		return &Busy{Why: "the request could not be made; check the gateway's address"}
	}
	r.Header.Set("User-Agent", "hearthline")
	answer, err := client.Do(r)
	if err != nil {
		return noAnswer(err)
	}
	defer answer.Body.Close()
	defer time.AfterFunc(answerWait, cancel).Stop()
	said, _ := io.ReadAll(io.LimitReader(answer.Body, answerMost)) // what was read before an error is used, no more is needed
	return meaning(answer, said)
}

// noAnswer tells a text that cannot have left from one of which nothing is
// known. The address, which may hold a token, is left out of the error.
func noAnswer(err error) error {
	var wrapped *url.Error
	if errors.As(err, &wrapped) {
		err = wrapped.Err
	}
	var dial *net.OpError
	var cert *tls.CertificateVerificationError
	switch {
	case errors.As(err, &cert):
		return &Busy{Why: "the gateway's certificate is not trusted"}
	case errors.As(err, &dial) && dial.Op == "dial":
		return &Busy{Why: "the gateway cannot be reached"}
	case errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("the gateway did not answer in time: %w", context.DeadlineExceeded)
	}
	return fmt.Errorf("the gateway's answer was lost: %w", err)
}

// meaning reads an answer as the table at Gateway says.
func meaning(answer *http.Response, said []byte) error {
	code := answer.StatusCode
	why := fmt.Sprintf("the gateway answered %d", code)
	if reason := reasonOf(answer.Header.Get("Content-Type"), said); reason != "" {
		why += ": " + reason
	}
	after, asked := retryAfter(answer.Header)
	switch {
	case code >= 200 && code < 300:
		return nil
	case code == http.StatusTooManyRequests, code == http.StatusTooEarly, code == http.StatusServiceUnavailable && asked:
		return &Busy{After: after, Why: why}
	case code >= 300 && code < 400:
		return &Busy{After: after, Why: why + "; redirects are not followed, configure the address it names"}
	case code == 401, code == 403, code == 404, code == 405, code == 407, code == 410, code == 421:
		return &Busy{After: after, Why: why + "; check the gateway's address and secret"}
	case code == http.StatusRequestTimeout, code == http.StatusConflict:
		return errors.New(why)
	case code >= 400 && code < 500:
		return &Refusal{Why: why}
	}
	return errors.New(why)
}

// reasonOf is the "error" of a JSON answer, tamed; "" if there is none.
func reasonOf(contentType string, said []byte) string {
	if !strings.Contains(contentType, "json") {
		return ""
	}
	var answer struct {
		Error string `json:"error"`
	}
	if json.Unmarshal(said, &answer) != nil {
		return ""
	}
	return tame(answer.Error)
}

// retryAfter reads the header in both of its forms (RFC 9110, 10.2.3), within
// 1 s and an hour; asked is false if there is none or it cannot be read.
func retryAfter(h http.Header) (after time.Duration, asked bool) {
	v := strings.TrimSpace(h.Get("Retry-After"))
	if seconds, err := strconv.ParseUint(v, 10, 31); err == nil {
		return min(max(time.Duration(seconds)*time.Second, time.Second), retryMost), true
	}
	at, err := http.ParseTime(v)
	if err != nil {
		return 0, false
	}
	// Against the answer's own clock where it tells it: ours may differ from it.
	from, err := http.ParseTime(h.Get("Date"))
	if err != nil {
		return time.Second, true
	}
	return min(max(at.Sub(from), time.Second), retryMost), true
}
