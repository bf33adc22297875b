# Means of whole-plot levels and of cells of Yates' oats, whole and with the five plots lost that
# the package's other split-plot reference leaves out. Run from the repository's root:
#   Rscript tests/reference/split_plot/make.R
# Writes values.csv and versions.txt.
suppressMessages({library(lme4); library(emmeans); library(pbkrtest)})
here <- "tests/reference/split_plot"
oats <- MASS::oats
oats$N <- factor(sub("cwt", "", oats$N))
out <- data.frame()
put <- function(case, quantity, value)
  out <<- rbind(out, data.frame(case = case, quantity = quantity, value = sprintf("%.15g", value)))
put_all <- function(case, s, kind, label, estimate)
  for (i in seq_len(nrow(s))) {
    put(case, paste(kind, label[i], estimate, sep = "|"), s[[estimate]][i])
    put(case, paste(kind, label[i], "se", sep = "|"), s$SE[i])
    put(case, paste(kind, label[i], "df", sep = "|"), s$df[i])
  }
run <- function(case, d) {
  fit <- lmer(Y ~ V * N + (1 | B) + (1 | B:V), d,
              control = lmerControl(optCtrl = list(ftol_abs = 1e-14, xtol_abs = 1e-14)))
  whole <- suppressMessages(emmeans(fit, ~ V, lmer.df = "kenward-roger"))
  s <- summary(whole)
  put_all(case, s, "whole_plot", as.character(s$V), "emmean")
  s <- summary(pairs(whole, adjust = "tukey"))
  put_all(case, s, "whole_plot_pair", s$contrast, "estimate")
  for (i in seq_len(nrow(s))) put(case, paste("whole_plot_pair", s$contrast[i], "p", sep = "|"), s$p.value[i])
  cell <- emmeans(fit, ~ V * N, lmer.df = "kenward-roger")
  s <- summary(cell)
  put_all(case, s, "cell", paste(s$V, s$N, sep = ", "), "emmean")
  s <- summary(pairs(cell, adjust = "none"))
  put_all(case, s, "cell_pair", s$contrast, "estimate")
}
run("oats", oats)
run("oats_lost_plots", oats[-(c(2, 16, 17, 39, 65) + 1), ])
write.csv(out, file.path(here, "values.csv"), row.names = FALSE, quote = TRUE)
versions <- c(R.version.string, sapply(c("lme4", "emmeans", "pbkrtest", "MASS"), function(p)
  paste(p, packageVersion(p))))
writeLines(versions, file.path(here, "versions.txt"))
