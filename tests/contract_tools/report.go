// Reads a report with the generated types and writes what the check of the contract compares.
package main

import (
	"fmt"
	"io"
	"os"
)

func main() {
	data, err := io.ReadAll(os.Stdin)
	if err == nil {
		var report Report
		if report, err = UnmarshalReport(data); err == nil {
			fmt.Println(report.Verdict)
			for _, rule := range report.Undecided {
				fmt.Println(rule.Code)
			}
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
