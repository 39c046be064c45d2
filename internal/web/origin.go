package web

import (
	"net/url"

	"github.com/gofiber/fiber/v2"
)

// sameOrigin refuses every form that another site sends here. Browsers say
// where a form comes from: in Sec-Fetch-Site, older ones in Origin. Who says
// neither is a program; it has no cookie of ours to misuse, and formToken
// refuses it if it has.
func (s *Site) sameOrigin(c *fiber.Ctx) error {
	switch c.Method() {
	case fiber.MethodGet, fiber.MethodHead, fiber.MethodOptions:
		return c.Next()
	}
	if site := c.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" {
		return fiber.NewError(fiber.StatusForbidden, say("error.foreign"))
	}
	if origin := c.Get(fiber.HeaderOrigin); origin != "" {
		u, err := url.Parse(origin)
		if err != nil || u.Host == "" || u.Host != string(c.Request().Host()) {
			return fiber.NewError(fiber.StatusForbidden, say("error.foreign"))
		}
	}
	return c.Next()
}

// token is what every form of a seat carries: only our own pages can know it.
func (s *Site) token(st seat) string {
	if st.Nonce == "" {
		return ""
	}
	return s.sign("form." + st.Nonce)
}

// formToken refuses a form without the token of its seat. Who brings the bearer
// token came without a cookie: nobody can be tricked into that.
func (s *Site) formToken(c *fiber.Ctx) error {
	if c.Method() != fiber.MethodPost || c.Locals("bearer") == true {
		return c.Next()
	}
	if want := s.token(seatOf(c)); want == "" || !same(c.FormValue("form"), want) {
		return fiber.NewError(fiber.StatusForbidden, say("error.form"))
	}
	return c.Next()
}
