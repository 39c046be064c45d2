package carrier

import (
	"crypto/hmac"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"net/url"
	"slices"
)

// signSampleOne and signSampleTwo sign as the gateways of the worked samples do.

func signSampleOne(f *Form, query string, form url.Values) string {
	base := "https://hearthline.example/hook/north"
	if query != "" {
		base += "?" + query
	}
	var names []string
	for name := range form {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		for _, value := range form[name] {
			base += name + value
		}
	}
	h := hmac.New(sha1.New, f.secret)
	h.Write([]byte(base))
	return base64.StdEncoding.EncodeToString(h.Sum(nil))
}

func signSampleTwo(f *Form, body string) string {
	h := hmac.New(sha256.New, f.secret)
	h.Write([]byte(body))
	return "mac=" + hex.EncodeToString(h.Sum(nil))
}
