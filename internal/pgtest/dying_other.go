//go:build !linux

package pgtest

import "syscall"

// dying leaves a process as it is: only Linux ends it with its parent.
func dying(a *syscall.SysProcAttr) *syscall.SysProcAttr { return a }
