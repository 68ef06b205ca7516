package page

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"gravity.example/gravlab/page/apparatus"
)

// Apparatus builds the virtual apparatus of a clone into dir, behind the page,
// and returns its files (Options.Apparatus). It ends with ctx. Without it the labs
// are as they are; say is told why, and that the first time takes long.
func Apparatus(ctx context.Context, clone, dir string, log func(text string)) func(name string) ([]byte, error) {
	ready := make(chan struct{})
	var failed error
	go func() {
		defer close(ready)
		if _, err := os.Stat(filepath.Join(dir, apparatus.WasmFile)); err != nil {
			log("compiling the virtual apparatus for the browser (once, half a minute or less)")
		}
		if failed = apparatus.Build(ctx, clone, dir); failed != nil && ctx.Err() == nil {
			log("the virtual apparatus is not there: " + failed.Error())
		}
	}()
	return func(name string) ([]byte, error) {
		<-ready
		if failed != nil {
			return nil, failed
		}
		switch name {
		case "apparatus.js":
			return apparatus.Script, nil
		case "window.js":
			return apparatus.WindowScript, nil
		case "apparatus.css":
			return apparatus.Style, nil
		case apparatus.ExecFile, apparatus.WasmFile:
			return os.ReadFile(filepath.Join(dir, name))
		}
		return nil, fmt.Errorf("the apparatus has no %q", name)
	}
}
