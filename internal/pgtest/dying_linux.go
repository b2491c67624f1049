package pgtest

import "syscall"

// dying makes a process end with the thread that started it.
func dying(a *syscall.SysProcAttr) *syscall.SysProcAttr {
	a.Pdeathsig = syscall.SIGQUIT
	return a
}
