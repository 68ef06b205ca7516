package marking

import "os"

func pause(p *os.Process) { p.Kill() } // a process cannot be stopped there
