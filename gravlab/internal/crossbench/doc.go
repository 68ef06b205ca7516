// Package crossbench measures the models and a general-purpose library, numpy and
// scipy as Debian packages them, doing the same work, in turns, in one run:
//
//	go test ./gravlab/internal/crossbench -run '^$' -bench . -benchtime 1x
//
// For each kind of work the two take turns, nine times each; what is printed
// are the medians in nanoseconds for one unit of work, and the ratio theirs to
// ours: above 1 we are faster. The results of both are compared first, so that
// a fast wrong answer does not count. numpy runs on one thread
// (OMP_NUM_THREADS=1); ours uses what it uses on the machine, as the unit says.
//
// Where the ratio is near or below 1, the limit is in a comment at the work.
package crossbench
