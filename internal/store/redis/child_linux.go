package redisstore

import "syscall"

// dieWithParent has the kernel end the child when this process ends, however
// that comes. SIGKILL cannot be put off, and loses nothing: what the server
// acknowledged is on the disk. A group of its own keeps a Ctrl-C meant for
// this process from the child, which is stopped last.
func dieWithParent() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL, Setpgid: true}
}
