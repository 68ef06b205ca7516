package judge

func JudgeNumber(t NumberTask, a Answer) Verdict     { return Verdict{} }
func JudgeChoice(t ChoiceTask, a Answer) Verdict     { return Verdict{} }
func JudgeFunction(t FunctionTask, a Answer) Verdict { return Verdict{} }
func JudgeText(marks int, a Answer) Verdict          { return Verdict{} }
