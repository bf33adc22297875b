# Seconds that lme4 and pbkrtest need inside R for one fit with a Kenward-Roger test, start-up of R
# not counted. Usage: Rscript speed_mixed.R data.csv repeats ; prints one number a line.
suppressMessages({library(lme4); library(pbkrtest)})
argument <- commandArgs(trailingOnly = TRUE)
d <- read.csv(argument[1])
for (name in c("environment", "block", "treatment")) d[[name]] <- factor(d[[name]])
L <- cbind(0, diag(nlevels(d$treatment) - 1))
once <- function() {
  fit <- lmer(y ~ treatment + (1 | environment) + (1 | environment:block) +
                (1 | environment:treatment), d, control = lmerControl(check.conv.singular = "ignore"))
  KRmodcomp(fit, L)
}
invisible(once())
for (i in seq_len(as.integer(argument[2])))
  cat(system.time(invisible(suppressMessages(once())))[["elapsed"]], "\n")
