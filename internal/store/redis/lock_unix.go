//go:build unix

package redisstore

import (
	"errors"
	"os"
	"syscall"
)

// lockFile takes the lock or says ErrInUse. The lock goes with the open file,
// also where a child inherits it, and ends when the last holder does.
func lockFile(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrInUse
	}
	return err
}
