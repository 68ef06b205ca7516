// Package kernel runs the cells of notebooks: it is the Jupyter kernel of the
// labs, and a client that runs a whole notebook, or one cell at a time, without a
// front end.
//
//	result, err := kernel.Run(ctx, nb, kernel.RunOptions{})  // what `gravlab run` does
//	err := kernel.Serve(connectionFile, kernel.ServeOptions{}) // what Jupyter starts
//	live, err := kernel.NewLive(kernel.LiveOptions{})        // what `gravlab open --kernel` uses
//
// # The kernel
//
// GoNB (version pinned in go.mod, built once into the user's cache) compiles and
// runs the cells. It listens to the front end itself; nothing stands between
// them. This package supervises it:
//
//	front end ── ZeroMQ ── GoNB ── go build, cells, shells, gopls
//	    │ starts             │          │ GRAVLAB_SERVER
//	supervisor ──────────────┘          │
//	    ├── lab server (labserver) ─────┘
//	    └── watcher, a process in a session of its own
//
// The supervisor gives GoNB a process group and a temporary folder of its own,
// an environment in which nothing is fetched, and the lab server. It repeats an
// interrupt until the cell is over, since GoNB loses one that comes while a cell
// is compiled. When the supervisor ends, however it ends, the watcher ends all
// processes of the kernel and removes its folder. A process that has left the
// group is known by a variable in its environment (on Linux, and by ps on macOS).
//
// # What is promised
//
// Three seconds after the end of a kernel, whether it was shut down, restarted,
// terminated or killed, none of its processes, sockets and folders are left. A
// process that has both left its group and wiped its environment escapes,
// unless it runs a program in the kernel's folder.
//
// Nothing is fetched: cells see the packages that the module's go.mod requires,
// in those versions. A cell that removes the kernel's temporary folder does not
// kill the kernel.
//
// # What is not
//
// The kernel runs what it is given with the user's rights. Other people's
// notebooks belong into the confined runner (package sandbox). GoNB needs named
// pipes and process groups: there is no kernel on Windows.
//
// GoNB ends on a message that is malformed or not signed with the kernel's key,
// and what it publishes is not encrypted. So a run without a front end speaks to
// it through sockets in a folder of the user's own. A front end that chooses TCP
// ports opens them to all users of the machine: none of their code is run, but
// they can read outputs and end the kernel. That is told, and the front end
// starts it again.
//
// # Sources
//
// Messages, connection files and kernelspecs: Jupyter, "Messaging in Jupyter"
// (protocol 5.3) and "Making kernels for Jupyter". What GoNB does with them was
// found by reading and trying v0.11.4; comments say so where it matters.
package kernel
