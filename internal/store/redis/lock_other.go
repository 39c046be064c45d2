//go:build !unix

package redisstore

import (
	"errors"
	"os"
)

// lockFile: without a lock that ends with its holder no folder is shared safely.
func lockFile(*os.File) error {
	return errors.New("a redis-server is started as a child on Unix systems only; name a running one by its URL")
}
