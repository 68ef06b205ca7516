//go:build unix

package kernel

import "context"

// startOwn starts our kernel in this process.
func startOwn(ctx context.Context, file string, o ServeOptions) (engine, error) {
	s, err := supervise(ctx, file, o)
	if err != nil {
		return nil, err
	}
	return s, nil
}

func (s *supervisor) over() <-chan struct{} { return s.gone }
