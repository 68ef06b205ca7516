package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/marking"
)

// ownBank names the lecturer's bank that this program was built with; the
// linker sets it (marking.Bank.Program). ownBankProblem says why that bank could not
// be added.
var (
	ownBank        string
	ownBankProblem error
	ownLabs        []bank.Lab
)

// addOwn adds the lecturer's labs, before main runs.
//
//lint:ignore U1000 the file that marking.Bank.Program lays over this package calls it
func addOwn(labs func() []bank.Lab) {
	defer func() {
		if r := recover(); r != nil {
			ownBankProblem = fmt.Errorf("its function Labs panics: %v", r)
		}
	}()
	ownLabs = labs()
	ownBankProblem = exercises.Add(ownLabs...)
}

// sheetsLookedAt is how many sheets of each lab of a bank are looked at before it
// is used: enough to meet what happens on one sheet in twenty.
const sheetsLookedAt = 60

// withBank goes on in a program that holds the bank in dir: this one if it does,
// else one that is built for it, which takes this one's place. Without a bank it does
// nothing.
func withBank(ctx context.Context, c *call, dir string) error {
	if dir == "" {
		return nil
	}
	b, err := marking.ReadBank(dir)
	if err != nil {
		return usageError{err, ""}
	}
	if b.Print == ownBank {
		if ownBankProblem != nil {
			return usageError{fmt.Errorf("%s: %w", dir, ownBankProblem), ""}
		}
		var faults []string
		for _, lab := range ownLabs {
			faults = append(faults, lab.Faults(sheetsLookedAt)...)
		}
		if len(faults) > 0 {
			return usageError{fmt.Errorf("the bank in %s has faults:\n%s", dir, strings.Join(faults, "\n")), "correct them first: students would be judged by them"}
		}
		return nil
	}
	if ownBank != "" {
		return fmt.Errorf("the bank in %s changed while the program was built with it; try again", dir)
	}
	clone, err := kernel.FindClone(c.say)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.err, "building the program with the bank in %s\n", dir)
	program, err := b.Program(ctx, clone)
	if marking.IsInput(err) {
		return usageError{err, ""}
	}
	if err != nil {
		return err
	}
	return goOn(ctx, program, append([]string{c.flags.Name()}, c.args...))
}

// labNotebook finds the notebook of a lab: in the bank's folder, or in the clone.
func labNotebook(c *call, bank, id string) (string, error) {
	var tried []string
	if bank != "" {
		tried = append(tried, filepath.Join(bank, id+".ipynb"))
	}
	if clone, err := kernel.FindClone(c.say); err == nil {
		tried = append(tried, filepath.Join(clone, "notebooks", id+".ipynb"))
	} else if bank == "" {
		return "", err
	}
	for _, path := range tried {
		if _, err := os.Stat(path); err == nil {
			return path, nil
		}
	}
	return "", nil
}
