# Power in a split plot, from base R's pf; the error strata from aov(... + Error(block/whole)).
# Rscript split_plot.R > split_plot.csv   (the first comment line of the output names the version)
# Three whole plots of two treatments in r blocks; s = 0.6 within, s_w = 0.5 between whole plots.
cat("#", R.version.string, "\n")
cat("case,value\n")
line <- function(name, value) cat(sprintf("%s,%.12g\n", name, value))
w <- 3; b <- 2; s2 <- 0.36; sw2 <- 0.25
power <- function(df1, df2, ncp) pf(qf(0.95, df1, df2), df1, df2, ncp, lower.tail = FALSE)
for (r in c(3, 4, 8)) {
  d <- expand.grid(sub = gl(b, 1), whole = gl(w, 1), block = gl(r, 1))
  d$treatment <- interaction(d$whole, d$sub)
  # degrees of freedom as aov counts them, on any response; sums of squares of the true means
  set.seed(1)
  strata <- summary(aov(rnorm(nrow(d)) ~ whole * sub + Error(block / whole), d))
  df <- function(stratum) tail(strata[[stratum]][[1]]$Df, 1)
  line(sprintf("df_whole_%d", r), df("Error: block:whole"))
  line(sprintf("df_sub_%d", r), df("Error: Within"))
  level <- c(0, 0, 1)[d$whole]
  line(sprintf("whole_%d", r), power(w - 1, df("Error: block:whole"),
       sum((level - mean(level))^2) / (s2 + b * sw2)))
  part <- c(0, 0.7)[d$sub]
  line(sprintf("sub_%d", r), power(b - 1, df("Error: Within"), sum((part - mean(part))^2) / s2))
}
