package household

import (
	"bytes"
	"fmt"

	"github.com/goccy/go-yaml"
)

// decodeYAML reads a file that people write, strictly: a field that is not
// known is an error with its line. The YAML library panics on some input that
// is no YAML; that is an error of the file like any other.
func decodeYAML(file string, src []byte, v any) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%s: this is no YAML that can be read: %v", file, p)
		}
	}()
	if err := yaml.NewDecoder(bytes.NewReader(src), yaml.Strict()).Decode(v); err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	return nil
}
