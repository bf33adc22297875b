# Several ratios to one check pooled over environments with one variance, from metafor's rma.mv.
# Run from this folder: Rscript joint.R ; reads joint_input.csv (invented), writes joint_values.csv.
# CS with rho 0.5 is the model in which every pair of treatments has the same variance tau2.
suppressMessages(library(metafor))
d <- read.csv("joint_input.csv")
V <- bldiag(lapply(split(d, d$environment), function(e) diag(e$v) + 0.02))
d <- d[order(d$environment), ]
f <- rma.mv(y, V, mods = ~ 0 + treatment, random = ~ treatment | environment, struct = "CS",
            rho = 0.5, data = d, method = "REML",
            control = list(optimizer = "nlminb", rel.tol = 1e-11))
out <- c(tau2 = f$tau2, setNames(coef(f), paste0("beta_", sub("treatment", "", names(coef(f))))),
         setNames(sqrt(diag(vcov(f))), paste0("se_", sub("treatment", "", rownames(vcov(f))))))
fit0 <- rma.mv(y, V, mods = ~ 0 + treatment, data = d)
out <- c(out, q = fit0$QE, loglik = as.numeric(logLik(f, REML = TRUE)))
write.csv(data.frame(quantity = names(out), value = sprintf("%.12g", out)), "joint_values.csv",
          row.names = FALSE, quote = FALSE)
