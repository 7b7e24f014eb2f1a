"""One look at everything: the log's weather composed, judged and ranked for one moment."""


