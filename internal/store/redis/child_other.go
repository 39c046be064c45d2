//go:build !linux

package redisstore

import "syscall"

// dieWithParent cannot be had here: the child of a killed run goes on and keeps
// its folder until it is ended by hand.
func dieWithParent() *syscall.SysProcAttr { return nil }
