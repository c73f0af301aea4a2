# ICC(A,1) of each table of cases.csv from the variances of lme4, and by psych's ICC
suppressMessages({library(lme4); library(psych)})
d<-read.csv("cases.csv"); out<-NULL
for(cc in unique(d$case)){ x<-subset(d,case==cc); x$item<-factor(x$item); x$rater<-factor(x$rater)
 m<-suppressMessages(suppressWarnings(lmer(score~1+(1|item)+(1|rater),x,control=lmerControl(optimizer="bobyqa",optCtrl=list(rhoend=1e-10)))))
 v<-as.data.frame(VarCorr(m)); vi<-v$vcov[v$grp=="item"];vr<-v$vcov[v$grp=="rater"];ve<-v$vcov[v$grp=="Residual"]
 w<-reshape(x[,c("item","rater","score")],idvar="item",timevar="rater",direction="wide")[,-1]
 p<-tryCatch(suppressMessages(suppressWarnings(ICC(as.matrix(w),missing=FALSE,lmer=TRUE)$results$ICC[2])),error=function(e) NA)
 out<-rbind(out,data.frame(case=cc,icc=vi/(vi+vr+ve),psych=p)) }
write.csv(out,"icc.csv",row.names=FALSE); cat(packageDescription("psych")$Version, packageDescription("lme4")$Version,"\n")
