package notebook_test

import (
	"fmt"

	"gravity.example/gravlab/notebook"
)

func Example() {
	nb := notebook.New("gravlab", "Go with gravlab", "go")
	c := notebook.NewCell(notebook.Code, "kappa", `sheet.Number("kappa", 0, "N m/rad")`)
	c.SetQuestion("01/kappa", notebook.Answer)
	nb.Cells = append(nb.Cells, c)
	data, err := nb.Bytes()
	if err != nil {
		fmt.Println(err)
		return
	}
	again, err := notebook.Read("lab.ipynb", data, notebook.Options{NeedKernel: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(again.Question("01/kappa", notebook.Answer).Source)
	// Output: sheet.Number("kappa", 0, "N m/rad")
}

func ExampleRead_refused() {
	_, err := notebook.Read("old.ipynb", []byte(`{"nbformat": 3, "nbformat_minor": 0, "worksheets": []}`), notebook.Options{})
	fmt.Println(err)
	// Output: old.ipynb: is a notebook of format 3; only format 4 can be read; open it in Jupyter and save it again, or run: jupyter nbconvert --to notebook --nbformat 4 FILE
}
